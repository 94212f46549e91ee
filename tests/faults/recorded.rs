//! A session's work as a recording: what was asked of the disk, what was acknowledged when, and how
//! the node stood after each step. And the oracle: whether a disk holds one of these states, whole.
//!
//! All of it goes through [`Node`], on a disk in memory; the steps are drawn from a seed.

use std::collections::BTreeMap;
use std::ops::Range;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::time::Duration;

use automerge::{ActorId, ChangeHash};
use guyline_core::record::{Document, DocumentId, SessionEdit};
use guyline_disk::{Chance, Image, Operation, TestDisk, Unsynced};
use guyline_hub::store::{OpenError, Peer};
use guyline_hub::{Node, NodeRefused};
use guyline_tests::author;

/// How a node stands: everything it was told to keep.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct State {
    heads: BTreeMap<DocumentId, Vec<ChangeHash>>,
    person: Option<String>,
    peers: Vec<Peer>,
}

impl State {
    pub(crate) fn of(node: &Node) -> Self {
        Self {
            heads: node.heads().expect("it can be read"),
            person: node.person().expect("it can be read"),
            peers: node.peers().expect("they can be read"),
        }
    }
}

/// Something a person does.
#[derive(Clone, Debug)]
pub(crate) enum Step {
    /// Opens a session.
    Begin(u8),
    /// Writes a note of so many letters.
    Note(u8, String, usize),
    /// Takes the device in hand.
    Hold(String),
    /// Closes the program and opens it again.
    Restart,
}

/// The steps of a session: two visits, notes short and long, hands changed, and every so many steps
/// a restart, which ends the engine's log.
pub(crate) fn steps(seed: u64, count: usize, restart_every: usize) -> Vec<Step> {
    let mut chance = Chance::new(seed);
    let mut steps = vec![Step::Begin(1), Step::Hold("ines".to_owned()), Step::Begin(2)];
    for number in steps.len()..count {
        steps.push(match (number, chance.below(12)) {
            (number, _) if number.is_multiple_of(restart_every) => Step::Restart,
            (_, 0) => Step::Hold(format!("person-{number}")),
            (_, 1) => Step::Note(1, format!("n{number}"), 3_900),
            (_, draw) => Step::Note(1 + (draw % 2) as u8, format!("n{number}"), 40),
        });
    }
    steps
}

/// A folder whose lock is on the system's disk and whose files are on one in memory.
pub(crate) struct Place {
    pub(crate) disk: TestDisk,
    folder: tempfile::TempDir,
}

impl Place {
    pub(crate) fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        // There already: making a key waits for the system's disk, and there are many places.
        let key = folder.path().join("device.key");
        std::fs::write(&key, "4c".repeat(32)).expect("a key");
        let owner = std::fs::Permissions::from_mode(0o600);
        std::fs::set_permissions(&key, owner).expect("its owner's");
        Self { disk: TestDisk::new(), folder }
    }

    pub(crate) fn dir(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn open(&self) -> Result<Node, String> {
        patiently(|| Node::open_on(self.dir(), &self.disk, None)).map_err(|error| error.to_string())
    }
}

/// Opens a store that somebody may still have for a moment: a child process that another test of
/// this program starts holds every lock of it until it runs its own.
pub(crate) fn patiently(open: impl Fn() -> Result<Node, NodeRefused>) -> Result<Node, NodeRefused> {
    for _ in 0..400 {
        match open() {
            Err(NodeRefused::Store(OpenError::InUse { .. })) => {
                std::thread::sleep(Duration::from_millis(5))
            }
            answer => return answer,
        }
    }
    open()
}

/// Does a step. The state it leads to is told by `attempted` before anything is stored.
pub(crate) fn take(node: &Node, step: &Step, attempted: &mut State) -> Result<(), String> {
    let said = |error: &dyn std::error::Error| error.to_string();
    match step {
        Step::Begin(n) => {
            let (id, site) = (session(*n), DocumentId::from_bytes([0; 16]));
            let made = Document::create_session(id, site, "r", "WO", ActorId::random(), &author());
            let (document, change) = made.map_err(|error| said(&error))?;
            attempted.heads.insert(id, document.heads());
            node.create(document, change).map_err(|error| said(&error))
        }
        Step::Note(n, id, letters) => {
            let edit = SessionEdit::AddNote { id: id.clone(), text: text(id, *letters) };
            let edited = node.edit(session(*n), |document| {
                let change = document.apply(&edit, &author())?;
                attempted.heads.insert(session(*n), document.heads());
                Ok::<_, guyline_core::record::EditRefused>(change)
            });
            edited.map_err(|error| said(&error))?.map_err(|error| said(&error))
        }
        Step::Hold(person) => {
            attempted.person = Some(person.clone());
            node.set_person(person).map_err(|error| said(&error))
        }
        Step::Restart => Ok(()),
    }
}

fn session(n: u8) -> DocumentId {
    DocumentId::from_bytes([n; 16])
}

/// Letters that no compression takes away, so that a long note fills pages.
fn text(id: &str, letters: usize) -> String {
    let mut chance = Chance::new(id.bytes().fold(7, |sum, byte| sum * 31 + u64::from(byte)));
    (0..letters).map(|_| char::from(b'a' + chance.below(26) as u8)).collect()
}

/// When a recording says that a step is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Acknowledged {
    /// When the node has returned.
    WhenStored,
    /// When the node was asked: a mutant.
    WhenAsked,
}

/// What was asked of the disk, and how the node stood after each step.
pub(crate) struct Recording {
    pub(crate) origin: Image,
    pub(crate) trace: Vec<Operation>,
    /// How much was asked of the disk when the n-th state was acknowledged.
    marks: Vec<usize>,
    states: Vec<State>,
}

impl Recording {
    /// Records steps from an empty disk on, from the making of the store to its closing.
    pub(crate) fn make(place: &Place, steps: &[Step], acknowledged: Acknowledged) -> Self {
        let mut node = Some(place.open().expect("the disk is sound"));
        let (mut marks, mut states) = (vec![0], vec![State::default()]);
        for step in steps {
            let before = place.disk.asked();
            if matches!(step, Step::Restart) {
                drop(node.take());
                node = Some(place.open().expect("the disk is sound"));
                continue;
            }
            let mut attempted = states.last().expect("there is a first").clone();
            take(node.as_ref().expect("it is open"), step, &mut attempted).expect("it is kept");
            marks.push(match acknowledged {
                Acknowledged::WhenStored => place.disk.asked(),
                Acknowledged::WhenAsked => before + 1,
            });
            states.push(attempted);
        }
        drop(node);
        let (origin, trace) = (Image::default(), place.disk.trace());
        Self { origin, trace, marks, states }
    }

    /// How many moments there are at which the power can go.
    pub(crate) fn moments(&self) -> usize {
        self.trace.len() + 1
    }

    /// The states a disk may be in after a power cut at this moment: everything acknowledged, and
    /// at most the step in flight besides.
    pub(crate) fn allowed(&self, moment: usize) -> &[State] {
        &self.states[self.window(moment)]
    }

    /// Which states those are.
    pub(crate) fn window(&self, moment: usize) -> Range<usize> {
        let acknowledged = self.marks.partition_point(|mark| *mark <= moment) - 1;
        let in_flight = self.marks[acknowledged] != moment || moment == 0;
        let end = (acknowledged + 1 + usize::from(in_flight)).min(self.states.len());
        acknowledged..end
    }

    /// The disk as it stands at a moment.
    pub(crate) fn at(&self, moment: usize) -> Unsynced {
        let mut disk = Unsynced::new(self.origin.clone());
        self.trace[..moment].iter().for_each(|operation| disk.step(operation));
        disk
    }
}

/// What a disk is found to hold.
#[derive(Debug, PartialEq)]
pub(crate) enum Found {
    /// A state that was allowed, and nothing damaged.
    Whole,
    /// Somebody is told that something is wrong.
    Told(String),
    /// It is otherwise than it may be, and nobody is told.
    Silent(String),
}

/// Opens what is on the disk, whose node must stand in one of these ways, and looks through it.
pub(crate) fn look(place: &Place, allowed: &[State]) -> Found {
    let node = match place.open() {
        Ok(node) => node,
        Err(error) => return Found::Told(format!("it does not open: {error}")),
    };
    let problems = match node.inspect() {
        Ok(inspection) => inspection.problems,
        Err(error) => return Found::Told(format!("it cannot be inspected: {error}")),
    };
    if !problems.is_empty() {
        return Found::Told(format!("damaged: {problems:?}"));
    }
    let found = State::of(&node);
    match allowed.contains(&found) {
        true => Found::Whole,
        false => Found::Silent(format!("it stands otherwise than acknowledged: {found:?}")),
    }
}

/// What is wrong with what is on the disk, if its node must stand in one of these ways.
pub(crate) fn wrong(place: &Place, allowed: &[State]) -> Option<String> {
    match look(place, allowed) {
        Found::Whole => None,
        Found::Told(what) | Found::Silent(what) => Some(what),
    }
}
