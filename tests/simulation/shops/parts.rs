//! The devices of a simulated shop that keep a part: how they come to it, how sites come to be
//! wanted at any step and everything again now and then, and what each must hold in the end.

use automerge::ActorId;
use guyline_core::record::{Document, DocumentId};
use guyline_hub::Node;
use guyline_hub::log::{Place, Scope};
use guyline_tests::{author, sheet};

use super::{Chance, Device, SITES, Shop, name_of, site};

impl Device<'_> {
    /// The first start: its name, and of half of the devices what they keep. The first of them is
    /// the office, which keeps everything.
    pub(super) fn settle(&self, number: usize, chance: &mut Chance) {
        self.node().set_name(&name_of(number)).expect("a sound disk keeps it");
        if number == 0 || chance.happens(0.5) {
            return;
        }
        self.node().keep_only_wanted(true).expect("it is no office");
        for n in (0..SITES).filter(|_| chance.happens(0.3)) {
            self.node().want_site(site(n)).expect("a sound disk keeps it");
        }
    }

    /// Where a document belongs.
    fn belongs(&self, id: DocumentId) -> Place {
        let look = |document: &Document| match document.session() {
            Ok(session) => Place::Visit(session.site),
            Err(_) => Place::Papers,
        };
        self.node().with_document(id, look).expect("it can be read")
    }
}

impl Shop<'_> {
    /// A site comes to be wanted; or now and then everything, or again only what is.
    pub(super) fn keep_otherwise(&mut self, who: usize) {
        if who == 0 {
            return;
        }
        let (draw, which) = (self.draw(10), self.draw(SITES));
        let node = self.devices[who].node();
        match draw {
            0 => node.keep_only_wanted(false).expect("anybody may"),
            1 => node.keep_only_wanted(true).expect("it is no office"),
            _ => node.want_site(site(which)).expect("a sound disk keeps it"),
        }
    }

    /// A device holds what the first one holds of what it keeps, and nobody is believed to hold
    /// what is not there.
    pub(super) fn holds_what_it_keeps(&self, n: usize) {
        let (first, device) = (&self.devices[0], &self.devices[n]);
        let scope = device.node().scope().expect("it can be read");
        let kept = |id: &DocumentId| scope.holds(first.belongs(*id));
        let all = first.heads();
        let mut wanted = all.clone();
        wanted.retain(|id, _| kept(id));
        let mut held = device.heads();
        held.retain(|id, _| kept(id));
        assert_eq!(held, wanted, "device {n}, which keeps {scope:?}, holds something else of it");
        assert!(scope != Scope::All || held == all, "device {n} holds everything");
        let problems = device.node().inspect().expect("it can be inspected").problems;
        assert!(problems.is_empty(), "device {n} is damaged: {problems:?}");
        let aside = device.node().set_aside().expect("it can be read");
        let aside = aside.iter().filter(|aside| kept(&aside.entry.document)).count();
        assert_eq!(aside, 0, "device {n} holds nothing malformed");
        let peers = first.node().peers().expect("they can be read");
        if let Some(peer) = peers.iter().find(|peer| peer.name == name_of(n)) {
            let lacks = first.node().not_known_at(Some(&[peer.node])).expect("it can be read");
            let held = device.heads();
            let believed = all.iter().filter(|(id, _)| !lacks.contains(id));
            let wrong: Vec<_> =
                believed.filter(|(id, heads)| held.get(id) != Some(*heads)).collect();
            assert!(wrong.is_empty(), "device {n} is believed to hold {wrong:?}");
        }
    }
}

/// A site's paper, which everybody has in the end.
pub(super) fn write_papers(node: &Node) {
    let paper = serde_json::from_value(sheet()["site"].take()).expect("the invented site");
    let made = Document::create_site(site(0), &paper, ActorId::random(), &author());
    let (document, change) = made.expect("it is sound");
    node.create(document, change).expect("a sound disk keeps it");
}
