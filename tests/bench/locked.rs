//! What a passphrase costs: recording with an encrypted store, and opening it.

use std::time::{Duration, Instant};

use guyline_hub::Node;
use guyline_hub::at_rest::{Cost, Passphrase, switch};
use guyline_hub::desk::record_reading;

use crate::{READINGS, Row, median, papers};

fn passphrase() -> Passphrase {
    Passphrase::new("seven guyed masts in fog").expect("it is long enough")
}

/// A reading recorded with an encrypted store, against the same with one that is not, in turn.
pub(crate) fn encrypted() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    let (closed, open) = (folder.path().join("closed"), folder.path().join("open"));
    drop(Node::open(&closed).expect("a fresh store opens"));
    switch::on(&closed, &passphrase(), Cost::RECOMMENDED).expect("it can be encrypted");
    let nodes = [
        Node::unlock(&closed, &passphrase()).expect("it opens"),
        Node::open(&open).expect("a fresh store opens"),
    ];
    let visits = nodes.each_ref().map(|node| {
        let session = papers::shop_site_and_sessions(node, 1)[0];
        let (author, chain) = papers::connected(node, session);
        (session, author, chain)
    });
    let mut took: [Vec<Duration>; 2] = Default::default();
    for number in 0..READINGS {
        for ((node, (session, author, chain)), took) in nodes.iter().zip(&visits).zip(&mut took) {
            let asked = papers::reading(*session, chain, number);
            let start = Instant::now();
            record_reading(node, *session, author, &asked).expect("the reading is admitted");
            took.push(start.elapsed());
        }
    }
    let [ours, theirs] = took.map(|times| median(times).as_secs_f64());
    Row { name: "encrypted", measured: ours / theirs, goal: 1.5 }
}

/// From the passphrase to an open node, in seconds.
pub(crate) fn unlock() -> Row {
    let folder = tempfile::tempdir().expect("a folder for the bench");
    drop(Node::open(folder.path()).expect("a fresh store opens"));
    switch::on(folder.path(), &passphrase(), Cost::RECOMMENDED).expect("it can be encrypted");
    let opened = |_| {
        let start = Instant::now();
        drop(Node::unlock(folder.path(), &passphrase()).expect("it opens"));
        start.elapsed()
    };
    let measured = median((0..9).map(opened).collect()).as_secs_f64();
    Row { name: "unlock", measured, goal: 1.0 }
}
