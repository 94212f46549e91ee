//! Goal: nodes that meet end level, move nothing twice, and lose nothing when a connection breaks.
//! Method: nodes in one process, each with its file, over real loopback sockets.

use guyline_hub::http::Listening;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use crate::crew::{Device, device, notes, work, write};

const ANY_PORT: &str = "127.0.0.1:0";

fn alike(a: &Device, b: &Device) {
    assert_eq!(a.node.heads().unwrap(), b.node.heads().unwrap());
}

#[tokio::test]
async fn two_nodes_end_level_and_a_third_gets_everything_through_the_second() {
    let (ines, tobias, hub) = (device("Ines"), device("Tobias"), device("hub"));
    work(&ines.node, 1, 3);
    work(&tobias.node, 2, 5);

    let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
    let report = ines.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!((report.sent_changes, report.received_changes, report.rounds), (4, 6, 2));
    assert_eq!(report.peer_name, "Tobias");
    assert_eq!(report.documents_touched, [crate::crew::id(2).to_string()]);
    alike(&ines, &tobias);

    let again = ines.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!((again.sent_changes, again.received_changes, again.rounds), (0, 0, 1));

    let pulled = hub.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!((pulled.sent_changes, pulled.received_changes), (0, 10));
    alike(&hub, &ines);
    listening.stop().await;
}

#[tokio::test]
async fn both_write_in_one_session_and_both_keep_everything() {
    let (ines, tobias) = (device("Ines"), device("Tobias"));
    work(&ines.node, 1, 0);
    let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    for index in 0..5 {
        write(&ines.node, 1, &format!("ines-{index}"), "at the antenna");
        write(&tobias.node, 1, &format!("tobias-{index}"), "at the rack");
    }
    let report = ines.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!((report.sent_changes, report.received_changes, report.rounds), (5, 5, 1));
    alike(&ines, &tobias);
    assert_eq!(notes(&ines.node, 1).len(), 10);
    assert_eq!(notes(&tobias.node, 1), notes(&ines.node, 1));
    listening.stop().await;
}

#[tokio::test]
async fn a_node_knows_what_is_only_here_and_what_a_peer_lacks() {
    let (ines, tobias) = (device("Ines"), device("Tobias"));
    work(&ines.node, 1, 2);
    work(&tobias.node, 2, 4);
    assert_eq!(ines.node.only_here().unwrap(), 3);
    let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!(ines.node.only_here().unwrap(), 0);
    write(&ines.node, 1, "later", "it stopped raining");
    assert_eq!(ines.node.only_here().unwrap(), 1);
    let peers = ines.node.peers().unwrap();
    assert_eq!((peers.len(), peers[0].not_there), (1, 1));
    assert_eq!(peers[0].name, "Tobias");
    assert_eq!(Some(listening.address()), peers[0].address.as_deref().map(url).as_deref());
    // Who was called learns at the caller's next word that its changes arrived.
    assert_eq!(tobias.node.only_here().unwrap(), 5);
    ines.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!(tobias.node.only_here().unwrap(), 0);
    listening.stop().await;
}

fn url(address: &str) -> String {
    format!("http://{address}")
}

#[tokio::test]
async fn a_lost_store_gets_everything_back_from_whom_it_met() {
    let (ines, mut tobias) = (device("Ines"), device("Tobias"));
    work(&ines.node, 1, 3);
    work(&tobias.node, 2, 5);
    let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    listening.stop().await;
    tobias = device("Tobias, new tablet");
    let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    alike(&ines, &tobias);
    assert_eq!(notes(&tobias.node, 2).len(), 5);
    listening.stop().await;
}

#[tokio::test]
async fn a_store_put_back_from_a_copy_ends_level_and_loses_nothing_anyone_has() {
    let (ines, tobias) = (device("Ines"), device("Tobias"));
    work(&tobias.node, 2, 2);
    let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    listening.stop().await;
    let Device { node, folder } = tobias;
    drop(node);
    // The server's own copy of the node ends with its connections.
    let copy = copied_when_closed(&folder).await;

    let node = guyline_hub::Node::open(folder.path()).unwrap();
    for index in 0..6 {
        write(&node, 2, &format!("before-{index}"), "before the disk died");
    }
    let listening = Listening::start(&node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    listening.stop().await;

    let node = guyline_hub::Node::open(copy.path()).unwrap();
    for index in 0..9 {
        write(&node, 2, &format!("after-{index}"), "after it was put back");
    }
    let listening = Listening::start(&node, ANY_PORT).await.unwrap();
    ines.node.exchange_with(listening.address()).await.unwrap();
    let tobias = Device { node, folder: copy };
    alike(&ines, &tobias);
    assert_eq!(notes(&tobias.node, 2).len(), 2 + 6 + 9);
    listening.stop().await;
}

/// A copy of a store's folder, taken once no process has it open.
async fn copied_when_closed(folder: &tempfile::TempDir) -> tempfile::TempDir {
    while guyline_hub::Node::open(folder.path()).is_err() {
        tokio::task::yield_now().await;
    }
    let copy = tempfile::tempdir().unwrap();
    for file in std::fs::read_dir(folder.path()).unwrap() {
        let path = file.unwrap().path();
        std::fs::copy(&path, copy.path().join(path.file_name().unwrap())).unwrap();
    }
    copy
}

/// Passes bytes both ways, and cuts the connection after so many bytes of answers.
async fn cut_after(target: String, answer_bytes: usize) -> std::net::SocketAddr {
    let listener = TcpListener::bind(ANY_PORT).await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(async move {
        let target = target.trim_start_matches("http://").to_owned();
        let mut left = answer_bytes;
        while let Ok((mut caller, _)) = listener.accept().await {
            let mut answerer = TcpStream::connect(&target).await.unwrap();
            pass(&mut caller, &mut answerer, &mut left).await;
        }
    });
    address
}

/// Rewrites the host to the target's, since the node behind answers only to its own.
async fn pass(caller: &mut TcpStream, answerer: &mut TcpStream, left: &mut usize) {
    let host = answerer.peer_addr().unwrap().to_string();
    let own = caller.local_addr().unwrap().to_string();
    assert_eq!(host.len(), own.len(), "ports of equal length keep the lengths");
    let (mut asked, mut answered) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    loop {
        tokio::select! {
            read = caller.read(&mut asked) => {
                let Ok(count @ 1..) = read else { return };
                let piece = replaced(&asked[..count], own.as_bytes(), host.as_bytes());
                if answerer.write_all(&piece).await.is_err() { return }
            }
            read = answerer.read(&mut answered) => {
                let Ok(count @ 1..) = read else { return };
                let passed = count.min(*left);
                *left -= passed;
                if caller.write_all(&answered[..passed]).await.is_err() || passed < count { return }
            }
        }
    }
}

fn replaced(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    if let Some(at) = bytes.windows(from.len()).position(|window| window == from) {
        bytes[at..at + to.len()].copy_from_slice(to);
    }
    bytes
}

#[tokio::test]
async fn an_exchange_that_is_cut_anywhere_is_made_good_by_the_next() {
    // Two answers of some 250 to 700 bytes: cuts in the headers, the bodies, and between the two.
    for cut in (0..1_400).step_by(37) {
        let (ines, tobias) = (device("Ines"), device("Tobias"));
        work(&ines.node, 1, 2);
        work(&tobias.node, 2, 2);
        let listening = Listening::start(&tobias.node, ANY_PORT).await.unwrap();
        let through = cut_after(listening.address().to_owned(), cut).await;
        if through.port().to_string().len() == port_length(listening.address()) {
            let outcome = ines.node.exchange_with(&through.to_string()).await;
            if let Err(error) = outcome {
                let text = error.to_string();
                assert!(text.contains("does not answer"), "cut after {cut}: {text}");
                assert!(!error.help().is_empty());
            }
        }
        assert_eq!(notes(&ines.node, 1).len(), 2, "cut after {cut}");
        ines.node.exchange_with(listening.address()).await.unwrap();
        alike(&ines, &tobias);
        let again = ines.node.exchange_with(listening.address()).await.unwrap();
        assert_eq!((again.sent_changes, again.received_changes), (0, 0), "cut after {cut}");
        assert_eq!(tobias.node.position().unwrap(), 6, "nothing twice, cut after {cut}");
        listening.stop().await;
    }
}

fn port_length(address: &str) -> usize {
    address.rsplit(':').next().unwrap_or_default().len()
}

#[tokio::test]
async fn a_large_log_goes_in_several_rounds() {
    let (ines, hub) = (device("Ines"), device("hub"));
    work(&ines.node, 1, 0);
    // Random letters, so that five megabytes stay more than one body: 330 texts of 16 kB.
    let mut random = crate::crew::Seeded(5);
    for index in 0..330 {
        let letters = (0..4_000).map(|_| char::from_u32(0x1_0400 + (random.next() % 80) as u32));
        let text: String = letters.map(|letter| letter.expect("Deseret and Shavian")).collect();
        write(&ines.node, 1, &format!("n{index}"), &text);
    }
    let listening = Listening::start(&hub.node, ANY_PORT).await.unwrap();
    let report = ines.node.exchange_with(listening.address()).await.unwrap();
    assert_eq!((report.sent_changes, report.rounds), (331, 3));
    alike(&ines, &hub);
    listening.stop().await;
}

#[tokio::test]
async fn a_node_that_is_not_there_or_not_on_this_machine_is_said_so() {
    let ines = device("Ines");
    work(&ines.node, 1, 1);
    let unused = TcpListener::bind(ANY_PORT).await.unwrap().local_addr().unwrap();
    for (address, said) in [
        (unused.to_string(), "does not answer"),
        ("http://192.0.2.7:4770".to_owned(), "is not on this machine"),
        ("hub".to_owned(), "is no address"),
    ] {
        let error = ines.node.exchange_with(&address).await.unwrap_err();
        assert!(error.to_string().contains(said), "{address}: {error}");
        assert!(error.to_string().contains(address.as_str()), "{address}: {error}");
    }
    let listening = Listening::start(&ines.node, ANY_PORT).await.unwrap();
    let error = ines.node.exchange_with(listening.address()).await.unwrap_err();
    assert!(error.to_string().contains("this node"), "{error}");
    listening.stop().await;
}
