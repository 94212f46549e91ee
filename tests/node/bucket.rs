//! Goal: a hub whose content lies in a bucket gives it whole or not at all, loses none of it while
//! the bucket fails, and puts nothing there that its folder would not hold. Method: a store with
//! buckets that is none of ours, looked into behind the node's back; endpoints that are not there,
//! refuse, or hang up half way; the built program as a hub.

use std::net::SocketAddr;

use guyline_core::record::{Attached, SessionEdit};
use guyline_hub::Node;
use guyline_hub::at_rest::{Cost, Passphrase, switch};
use guyline_hub::attachments::bucket::{BucketFault, BucketPlace};
use guyline_hub::attachments::{AttachmentError, ContentHash, Contents};
use guyline_hub::desk::{Code, Given, attach_file};
use guyline_hub::http::Listening;
use guyline_tests::author;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

use crate::bucket_store::{BucketStore, KEY_ID, PREFIX, Relay, SECRET, at, keys, plain};
use crate::crew::{Device, Seeded, device, id, work};

const MIB: usize = 1024 * 1024;

/// A paper of so many bytes that nothing else has.
fn paper(seed: u64, length: usize) -> Vec<u8> {
    let mut bytes = b"%PDF-1.7\n".to_vec();
    bytes.extend(Seeded(seed).bytes(length - bytes.len()));
    bytes
}

fn given(bytes: Vec<u8>) -> Given<'static> {
    Given {
        bytes,
        file_name: "certificate.pdf",
        media_type: Some("application/pdf"),
        caption: None,
        of: None,
        keep_position: false,
    }
}

/// Names a content in the first visit without having it.
fn name_only(node: &Node, bytes: &[u8]) -> ContentHash {
    let hash = ContentHash::of(bytes);
    let what = Attached {
        hash: hash.to_string(),
        media_type: "application/pdf".to_owned(),
        length: bytes.len() as u64,
        file_name: "a.pdf".to_owned(),
        caption: None,
        of: None,
    };
    let edit = SessionEdit::Attach { id: node.fresh_id(), what };
    node.edit(id(1), |document| document.apply(&edit, &author())).unwrap().unwrap();
    hash
}

/// A device's node, with its content in a bucket.
fn in_bucket(device: &Device, place: &BucketPlace) -> Node {
    device.node.clone().with_bucket(device.folder.path(), place, &keys()).unwrap()
}

fn contents(folder: &tempfile::TempDir, place: &BucketPlace) -> Contents {
    Contents::beside(folder.path()).in_bucket(place, &keys()).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_whole_lies_in_the_bucket_and_only_there_and_damage_is_told() {
    let store = BucketStore::start().await;
    let folder = tempfile::tempdir().unwrap();
    let here = contents(&folder, &store.place());
    assert_eq!(here.held().unwrap(), (0, 0));
    // One window, some windows, and one that goes there in parts.
    let bytes = [paper(1, 3_000), paper(2, 9 * MIB / 2), paper(3, 17 * MIB)];
    let hashes: Vec<ContentHash> = bytes.iter().map(|bytes| here.put(bytes).unwrap()).collect();
    for (hash, bytes) in hashes.iter().zip(&bytes) {
        assert_eq!(&here.read(*hash).unwrap(), bytes);
        assert_eq!(&store.get(&plain(*hash)).await, bytes, "as it is, under its hash");
        let name = hash.to_string();
        assert!(!folder.path().join("attachments").join(&name[..2]).join(&name).exists());
    }
    assert_eq!(std::fs::read_dir(folder.path().join("attachments")).unwrap().count(), 0);
    // Another process, which knows nothing yet.
    let other = tempfile::tempdir().unwrap();
    let there = contents(&other, &store.place());
    let mut all: Vec<(ContentHash, u64)> =
        hashes.iter().zip(&bytes).map(|(hash, bytes)| (*hash, bytes.len() as u64)).collect();
    all.sort_unstable();
    assert_eq!(there.all().unwrap(), all);
    assert_eq!(there.held().unwrap(), (3, bytes.iter().map(|bytes| bytes.len() as u64).sum()));
    assert!(there.has(hashes[0]).unwrap() && !there.has(ContentHash::of(b"no")).unwrap());
    assert!(matches!(there.read(ContentHash::of(b"no")), Err(AttachmentError::Absent)));

    for (which, damage) in [(0, 7), (1, 9 * MIB / 2 - 1), (2, 16 * MIB)] {
        let mut turned = bytes[which].clone();
        turned[damage] ^= 1;
        for wrong in [turned, bytes[which][..damage].to_vec(), Vec::new()] {
            store.put(&plain(hashes[which]), wrong).await;
            for contents in [&here, &there] {
                let read = contents.read(hashes[which]);
                assert!(matches!(read, Err(AttachmentError::Damaged)), "{which}");
                let checked = contents.check(hashes[which]);
                assert!(matches!(checked, Err(AttachmentError::Damaged)), "{which}");
            }
        }
        assert_eq!(here.put(&bytes[which]).unwrap(), hashes[which], "putting it again mends it");
        assert_eq!(there.read(hashes[which]).unwrap(), bytes[which]);
    }
    store.remove(&plain(hashes[0])).await;
    assert!(matches!(here.read(hashes[0]), Err(AttachmentError::Absent)));
    assert!(!here.has(hashes[0]).unwrap(), "what is gone is known to be gone");
}

/// Answers every request with a status and a text.
async fn refusing(status: &'static str) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address: SocketAddr = listener.local_addr().unwrap();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            tokio::spawn(async move {
                let mut asked = vec![0; 16 * 1024];
                let _count = stream.read(&mut asked).await;
                let text =
                    format!("<Error><Code>No</Code><AWSAccessKeyId>{KEY_ID}</AWSAccessKeyId>");
                let length = text.len();
                let head = format!(
                    "HTTP/1.1 {status}\r\ncontent-length: {length}\r\nconnection: close\r\n\r\n"
                );
                let _sent = stream.write_all((head + &text).as_bytes()).await;
            });
        }
    });
    format!("http://{address}")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bucket_that_is_not_there_or_refuses_is_told_with_help_and_loses_nothing() {
    // Nobody listens on the first: it was bound and let go.
    let bound = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let gone = format!("http://{}", bound.local_addr().unwrap());
    drop(bound);
    let table = [
        (gone, "cannot be used", "network"),
        (refusing("403 Forbidden").await, "does not let", "GUYLINE_BUCKET_SECRET"),
        (refusing("503 Slow Down").await, "503", "tried again"),
        (refusing("404 Not Found").await, "there is no bucket", "make the bucket"),
    ];
    for (endpoint, what, help) in table {
        let hub = device("hub");
        work(&hub.node, 1, 0);
        let node = in_bucket(&hub, &at(&endpoint));
        let bytes = paper(4, 5_000);
        let refused = attach_file(&node, id(1), &author(), given(bytes.clone())).unwrap_err();
        assert_eq!(refused.code, Code::StoreFailed, "{refused:?}");
        assert!(refused.what.contains(what) && refused.help.contains(help), "{refused:?}");
        assert!(!format!("{refused:?}").contains(KEY_ID), "{refused:?}");
        let named =
            node.with_document(id(1), |document| document.session().unwrap().attachments.len());
        assert_eq!(named.unwrap(), 0, "nothing names what was not kept");

        let hash = name_only(&node, &bytes);
        let lacking = node.contents_lacking().unwrap_err();
        assert!(lacking.to_string().contains(what), "{lacking}");
        let looked = node.inspect_contents().unwrap();
        assert!(looked.unreadable.is_some_and(|why| why.contains(what)));
        // What is asked for by its name cannot tell a missing bucket from a missing object.
        match node.contents().read(hash) {
            Err(AttachmentError::Bucket(_)) => {}
            Err(AttachmentError::Absent) => assert_eq!(help, "make the bucket"),
            other => panic!("{other:?}"),
        }
        // What lies in the folder from before is still given.
        let before = hub.node.contents().put(b"from before").unwrap();
        assert_eq!(node.contents().read(before).unwrap(), b"from before");
        node.move_contents_out().unwrap_err();
        assert_eq!(hub.node.contents().read(before).unwrap(), b"from before");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bucket_that_never_answers_holds_nobody_up_for_long() {
    let silent = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let here = contents(&folder, &at(&format!("http://{}", silent.local_addr().unwrap())));
    let began = std::time::Instant::now();
    let refused = here.has(ContentHash::of(b"any")).unwrap_err();
    assert!(matches!(refused, AttachmentError::Bucket(_)), "{refused}");
    let took = began.elapsed();
    assert!(took < std::time::Duration::from_secs(60), "{took:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_cut_off_on_its_way_counts_when_it_is_in_the_bucket_and_not_before() {
    let store = BucketStore::start().await;
    let relay = Relay::to(&store.endpoint).await;
    let hub = device("hub");
    work(&hub.node, 1, 0);
    let node = in_bucket(&hub, &at(&relay.endpoint));
    let bytes = paper(5, 20 * MIB);
    let (hash, length) = (name_only(&node, &bytes), bytes.len() as u64);
    assert_eq!(node.contents_lacking().unwrap(), 1);
    let half = bytes.len() / 2;
    assert!(!node.contents().arrive(hash, length, 0, &bytes[..half]).unwrap());
    for through in [0, 300, 64 * 1024, 9 * MIB, 19 * MIB] {
        relay.lets_through(through);
        let at = node.contents().arrived(hash);
        let rest = &bytes[usize::try_from(at).unwrap()..];
        let failed = node.contents().arrive(hash, length, at, rest).unwrap_err();
        assert!(
            matches!(failed, AttachmentError::Bucket(BucketFault::Unreachable { .. })),
            "{through}: {failed}"
        );
        assert_eq!(node.contents().arrived(hash), length, "it stays, whole");
        assert_eq!(store.names().await, Vec::<String>::new(), "and nothing half is there");
        assert_eq!(node.contents_lacking().unwrap(), 1, "nobody is told that it is here");
    }
    relay.lets_through(usize::MAX);
    assert_eq!(node.move_contents_out().unwrap(), 1, "the hub tries again by itself");
    assert_eq!(store.get(&plain(hash)).await, bytes);
    assert_eq!((node.contents_lacking().unwrap(), node.contents().arrived(hash)), (0, 0));
    assert_eq!(node.contents().read(hash).unwrap(), bytes);
    assert_eq!(node.move_contents_out().unwrap(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn two_hubs_on_one_bucket_hold_what_either_took_and_what_waited_is_given_on() {
    let store = BucketStore::start().await;
    let relay = Relay::to(&store.endpoint).await;
    let (ines, first, second) = (device("Ines"), device("first"), device("second"));
    work(&ines.node, 1, 0);
    let hubs = [in_bucket(&first, &at(&relay.endpoint)), in_bucket(&second, &store.place())];
    let bytes = paper(6, 1_300_000);
    attach_file(&ines.node, id(1), &author(), given(bytes.clone())).unwrap();
    let hash = ContentHash::of(&bytes);
    let mut listening = Vec::new();
    for hub in &hubs {
        let at = Listening::start(hub, "127.0.0.1:0").await.unwrap();
        ines.node.exchange_with(at.address()).await.unwrap();
        listening.push(at);
    }
    assert_eq!(hubs[0].contents_lacking().unwrap(), 1);
    // The first hub gets it and cannot reach the bucket: it keeps it, and says so.
    relay.lets_through(0);
    let moved = ines.node.settle_contents_with(listening[0].address()).await.unwrap();
    assert_eq!((moved.given, moved.sent_bytes), (0, 1_048_576), "{moved:?}");
    assert!(moved.refused[0].contains("cannot be used"), "{moved:?}");
    assert_eq!(hubs[0].contents().arrived(hash), 1_300_000);
    // Asked again when it can be, nothing is sent twice.
    relay.lets_through(usize::MAX);
    let moved = ines.node.settle_contents_with(listening[0].address()).await.unwrap();
    assert_eq!((moved.given, moved.sent_bytes), (1, 0), "{moved:?}");
    assert_eq!(store.names().await, [plain(hash)]);
    // The other hub has it by that.
    let moved = ines.node.settle_contents_with(listening[1].address()).await.unwrap();
    assert_eq!((moved.given, moved.sent_bytes, moved.lacking), (0, 0, 0), "{moved:?}");
    let bela = device("Béla");
    bela.node.exchange_with(listening[1].address()).await.unwrap();
    let moved = bela.node.settle_contents_with(listening[1].address()).await.unwrap();
    assert_eq!((moved.fetched, moved.received_bytes), (1, 1_300_000), "{moved:?}");
    assert_eq!(bela.node.contents().read(hash).unwrap(), bytes);
    // Damaged there, it is given to nobody.
    let mut turned = bytes.clone();
    turned[1_200_000] ^= 1;
    store.put(&plain(hash), turned).await;
    let eva = device("Éva");
    eva.node.exchange_with(listening[0].address()).await.unwrap();
    let moved = eva.node.settle_contents_with(listening[0].address()).await.unwrap();
    assert_eq!((moved.fetched, moved.received_bytes, moved.lacking), (0, 0, 1), "{moved:?}");
    assert_eq!(hubs[1].inspect_contents().unwrap().damaged, [hash.to_string()]);
    for at in listening {
        at.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_encrypted_hub_puts_nothing_readable_there_and_what_lay_in_the_folder_goes_there() {
    let store = BucketStore::start().await;
    let folder = tempfile::tempdir().unwrap();
    let bytes = paper(7, 9 * MIB);
    let (before, hash) = {
        let node = Node::open(folder.path()).unwrap();
        work(&node, 1, 0);
        attach_file(&node, id(1), &author(), given(bytes.clone())).unwrap();
        (node.contents().put(b"from before").unwrap(), ContentHash::of(&bytes))
    };
    let passphrase = Passphrase::new("four words and more").unwrap();
    switch::on(folder.path(), &passphrase, Cost { memory_kib: 64, passes: 1, lanes: 1 }).unwrap();
    let open = || {
        let node = Node::unlock(folder.path(), &passphrase).unwrap();
        node.with_bucket(folder.path(), &store.place(), &keys()).unwrap()
    };
    let node = open();
    assert_eq!(node.move_contents_out().unwrap(), 2);
    assert_eq!(node.contents().read(hash).unwrap(), bytes);
    assert_eq!(node.contents().held().unwrap(), (2, bytes.len() as u64 + 11));
    let names = store.names().await;
    assert_eq!(names.len(), 2);
    for name in &names {
        assert!(name.starts_with(&format!("{PREFIX}/encrypted-")), "{name}");
        let lies = store.get(name).await;
        let start = &lies[..lies.len().min(4_096)];
        for hidden in [&b"%PDF"[..], &bytes[1_000..1_016], b"from before"] {
            assert!(!start.windows(hidden.len()).any(|window| window == hidden), "{name}");
        }
    }
    // Any byte of it, as whoever goes on asks for it.
    let listening = Listening::start(&node, "127.0.0.1:0").await.unwrap();
    let ines = device("Ines");
    ines.node.exchange_with(listening.address()).await.unwrap();
    let length = bytes.len() as u64;
    ines.node.contents().arrive(hash, length, 0, &bytes[..5_000_001]).unwrap();
    let moved = ines.node.settle_contents_with(listening.address()).await.unwrap();
    assert_eq!((moved.fetched, moved.received_bytes), (1, length - 5_000_001), "{moved:?}");
    listening.stop().await;
    drop(node);

    // Another hub, which is not encrypted, takes none of it for its own.
    let other = device("other");
    let plainly = in_bucket(&other, &store.place());
    assert_eq!(plainly.contents().all().unwrap(), []);
    assert!(matches!(plainly.contents().read(before), Err(AttachmentError::Absent)));
    // A folder says where its content lies, whoever opens it, and without the keys it says so.
    let node = Node::unlock(folder.path(), &passphrase).unwrap();
    let refused = node.contents().read(hash).unwrap_err();
    assert!(matches!(refused, AttachmentError::Bucket(BucketFault::NoKeys)), "{refused}");
    assert!(refused.help().contains("GUYLINE_BUCKET_KEY_ID"), "{}", refused.help());
    drop(node);
    assert!(!format!("{:?}", open()).contains(SECRET));
}
