//! One side of an exchange. No sockets, no disk, no clock: what happened goes in, wishes come out.
//!
//! The caller says what it has after what the peer acknowledged, and up to where it stores the
//! peer's log; the answer says the same the other way round. One round trip makes two nodes level
//! that know each other; a first meeting takes one more, to learn names. The answerer hears at the
//! caller's next word that its answer arrived: until then it would send the same again.
//! A piece of log is taken only where it joins what is stored already, or starts over, so any body
//! may be lost, repeated or come late: the next one starts from what is on disk.
//!
//! A side that does not keep everything says in each body what it asks for. What the other one
//! leaves out by that it passes by, so one mark goes on telling how far a log is stored; when a
//! site comes to be wanted, the mark goes back to the start, less what is known to be stored by
//! then. A piece that left out by another asking than this side's own is not taken.
//!
//! Nothing is acknowledged before the [`Input::Stored`] that answers its [`Output::Store`].

use std::collections::{BTreeSet, VecDeque};

use guyline_core::record::DocumentId;

use super::wire::{self, Body, MalformedBody};
use crate::log::{
    Ask, Card, LogSlice, Mark, Memory, NodeId, Receipt, Scope, Start, StoreId, receipt_text,
};

/// A caller that is not level after so many rounds gives up: some 4 GiB were moved by then.
const ROUNDS_MAX: u64 = 1_000;

/// What happened.
#[derive(Debug)]
pub enum Input {
    /// The caller may begin. `met` is what is remembered of the node at the address, if anything.
    Begin {
        /// Its node, its store, and how far the two logs are known to each other.
        met: Option<(NodeId, StoreId, Memory)>,
    },
    /// A body came in.
    Received(Vec<u8>),
    /// Answers [`Output::Recall`]: how far the logs are known to each other, if at all.
    Recalled(Option<Memory>),
    /// Answers [`Output::Gather`].
    Gathered(LogSlice),
    /// Answers [`Output::Store`]: it is on disk.
    Stored(Stored),
}

/// What became of a piece of log. All of it is on disk.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stored {
    /// How many changes were new.
    pub taken: u64,
    /// How many were set aside as malformed.
    pub set_aside: u64,
    /// The documents that were changed.
    pub documents: BTreeSet<DocumentId>,
}

/// What is to be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// Say what is remembered of this node; nothing if it had another store.
    Recall(Card),
    /// Read the log after a mark, less what this peer gave.
    Gather {
        /// Who will get it.
        peer: NodeId,
        /// Where to start; from the beginning if it does not fit the log.
        after: Mark,
        /// What of it the peer asks for.
        ask: Ask,
        /// Whether it reads changes that are packed together.
        packs: bool,
    },
    /// Forget what is remembered of this peer: its log, how far it stores this one, and what it
    /// gave.
    Forget {
        /// The peer.
        peer: NodeId,
    },
    /// Validate and store these, and that the peer's log is stored up to a mark, as one.
    Store {
        /// Who gave them.
        peer: Card,
        /// The changes and their seals; what of them is packed together was gone through.
        slice: Box<LogSlice>,
        /// The documents they belong to.
        documents: BTreeSet<DocumentId>,
        /// Up to where the peer's log is stored then.
        seen: Mark,
        /// How much of it.
        asked: Ask,
        /// Whether the peer's log is another than the one remembered, so that the peer may have
        /// lost what it gave before.
        anew: bool,
        /// The body they came in, for whoever keeps it as it came.
        body: Vec<u8>,
    },
    /// Remember up to where the peer stores this log.
    Acknowledge {
        /// The peer.
        peer: Card,
        /// Up to where.
        mark: Mark,
        /// How much of it.
        holds: Scope,
        /// Its word for it.
        receipt: Receipt,
    },
    /// Send this body.
    Send(Vec<u8>),
    /// Nothing more is to be done: the caller is level, the answer is given.
    Done,
}

/// Why an exchange ends without being done. What was stored stays stored.
#[derive(Debug, thiserror::Error)]
pub enum ExchangeFault {
    /// The other side sent something that is no body.
    #[error(transparent)]
    Body(#[from] MalformedBody),
    /// The other side is this node.
    #[error("the address leads back to this node")]
    Itself,
    /// The other side neither takes nor gives what would make both level.
    #[error("no progress after {rounds} rounds")]
    Stalled {
        /// How many round trips were made.
        rounds: u64,
    },
}

/// What an exchange moved.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Changes sent.
    pub sent_changes: u64,
    /// Bytes sent.
    pub sent_bytes: u64,
    /// Bytes received.
    pub received_bytes: u64,
    /// Round trips.
    pub rounds: u64,
    /// What became of what was received.
    pub stored: Stored,
}

/// Signs what a receipt says as this device.
pub struct Signer(Box<Sign>);

type Sign = dyn Fn(&[u8]) -> Receipt + Send;

impl Signer {
    /// One that signs by this.
    pub fn new(sign: impl Fn(&[u8]) -> Receipt + Send + 'static) -> Self {
        Self(Box::new(sign))
    }
}

impl std::fmt::Debug for Signer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Signer")
    }
}

/// One side of an exchange.
#[derive(Debug)]
pub struct Exchange {
    me: Card,
    signer: Signer,
    calls: bool,
    stage: Stage,
    /// The peer's node and store, once they are known.
    met: Option<(NodeId, StoreId)>,
    memory: Memory,
    /// How much of others' logs this side keeps.
    wants: Scope,
    /// What the peer asks for of this log.
    ask: Ask,
    /// Whether the peer is known to read changes that are packed together.
    packs: bool,
    /// Whether nothing is remembered of the peer yet.
    stranger: bool,
    /// Whether the next piece of log starts over, because the peer remembers another log.
    anew: bool,
    /// Where the last sent piece of log ended, and whether there was more.
    sent: Option<(Mark, bool)>,
    /// Whether the last word was said while something was made up for.
    making_up: bool,
    /// Whether this round moved anything forward.
    progress: bool,
    outputs: VecDeque<Output>,
    peer: Option<Card>,
    tally: Tally,
}

#[derive(Debug)]
enum Stage {
    /// Nothing was said yet.
    Fresh,
    /// Waits for the peer's body.
    Listening,
    /// Waits for what is remembered of the peer that sent this.
    Recalling(Box<Came>),
    /// Waits for the disk.
    Storing {
        seen: Mark,
        asked: Ask,
        heard: Heard,
    },
    /// Waits for a piece of the log.
    Gathering,
    Over,
}

/// A body that was read.
#[derive(Debug)]
struct Came {
    body: Body,
    /// Those that its changes belong to.
    documents: BTreeSet<DocumentId>,
    bytes: Vec<u8>,
}

/// What the rest of a round needs to know of a body.
#[derive(Clone, Copy, Debug)]
struct Heard {
    /// What the body said of this log, if it did.
    yours: Option<Mark>,
    /// Whether the body brought the end of the peer's log.
    whole: bool,
}

impl Exchange {
    /// The side that calls, which keeps so much. Give it [`Input::Begin`] first.
    pub fn caller(me: Card, signer: Signer, wants: Scope) -> Self {
        Self::new(me, signer, wants, true)
    }

    /// The side that answers. Give it the body that came.
    pub fn answerer(me: Card, signer: Signer, wants: Scope) -> Self {
        Self::new(me, signer, wants, false)
    }

    /// The same with a peer that reads changes which are packed together; who writes such a body
    /// reads them, too.
    pub fn packing(self, packs: bool) -> Self {
        Self { packs, ..self }
    }

    fn new(me: Card, signer: Signer, wants: Scope, calls: bool) -> Self {
        Self {
            me,
            signer,
            calls,
            stage: Stage::Fresh,
            met: None,
            memory: Memory::NONE,
            wants,
            ask: Ask::ALL,
            packs: false,
            stranger: false,
            anew: false,
            sent: None,
            making_up: false,
            progress: false,
            outputs: VecDeque::new(),
            peer: None,
            tally: Tally::default(),
        }
    }

    /// Takes one input. Drain [`Exchange::next_output`] to `None` before giving the next.
    pub fn handle(&mut self, input: Input) -> Result<(), ExchangeFault> {
        assert!(self.outputs.is_empty(), "the outputs are drained before the next input");
        match (std::mem::replace(&mut self.stage, Stage::Over), input) {
            (Stage::Fresh, Input::Begin { met }) if self.calls => {
                self.begin(met);
                Ok(())
            }
            (Stage::Listening, Input::Received(bytes)) if self.calls => self.receive(bytes),
            (Stage::Fresh, Input::Received(bytes)) if !self.calls => self.receive(bytes),
            (Stage::Recalling(body), Input::Recalled(memory)) => {
                self.stranger = memory.is_none();
                self.remember(memory.unwrap_or(Memory::NONE));
                self.progress = true;
                self.settle(*body)
            }
            (Stage::Storing { seen, asked, heard }, Input::Stored(stored)) => {
                (self.memory.seen, self.memory.asked) = (seen, asked);
                self.progress = true;
                self.tally.stored.taken += stored.taken;
                self.tally.stored.set_aside += stored.set_aside;
                self.tally.stored.documents.extend(stored.documents);
                self.go_on(heard)
            }
            (Stage::Gathering, Input::Gathered(slice)) if slice.start == Start::Anew => {
                self.start_over();
                Ok(())
            }
            (Stage::Gathering, Input::Gathered(mut slice)) => {
                if std::mem::take(&mut self.anew) {
                    slice.start = Start::Anew;
                }
                self.say(Some(self.memory.seen), Some(slice));
                Ok(())
            }
            (stage, input) => panic!("a driver answers what it was asked: {input:?} at {stage:?}"),
        }
    }

    /// The next thing to be done, in order.
    pub fn next_output(&mut self) -> Option<Output> {
        self.outputs.pop_front()
    }

    /// Who the other side is, once it has spoken.
    pub fn peer(&self) -> Option<&Card> {
        self.peer.as_ref()
    }

    /// What was moved so far.
    pub fn tally(&self) -> &Tally {
        &self.tally
    }

    fn begin(&mut self, met: Option<(NodeId, StoreId, Memory)>) {
        match met {
            Some((node, store, memory)) => {
                self.met = Some((node, store));
                let after = memory.acknowledged;
                self.remember(memory);
                self.gather(node, after);
            }
            // What a stranger holds is not known, so nothing is sent before it has said so.
            None => {
                self.remember(Memory::NONE);
                self.say(None, None);
            }
        }
    }

    /// Goes on from what is known of the peer.
    fn remember(&mut self, memory: Memory) {
        self.memory = memory;
        self.memory.ask_for(&self.wants);
        // Until it says something else.
        self.ask = Ask { scope: self.memory.holds.clone(), known: None };
    }

    fn receive(&mut self, bytes: Vec<u8>) -> Result<(), ExchangeFault> {
        self.tally.received_bytes += bytes.len() as u64;
        let (body, documents) = wire::weighed(&bytes)?;
        self.packs |= wire::is_packed(&bytes);
        if body.card.node == self.me.node {
            return Err(ExchangeFault::Itself);
        }
        self.progress = false;
        let who = Some((body.card.node, body.card.store));
        self.peer = Some(body.card.clone());
        let card = body.card.clone();
        let came = Came { body, documents, bytes };
        if self.met == who {
            return self.settle(came);
        }
        self.met = who;
        self.outputs.push_back(Output::Recall(card));
        self.stage = Stage::Recalling(Box::new(came));
        Ok(())
    }

    /// Takes what a body says about this log, then what it brings of the peer's.
    fn settle(&mut self, came: Came) -> Result<(), ExchangeFault> {
        let Came { body, documents, bytes } = came;
        self.ask = body.ask;
        if let Some((mark, receipt)) = body.yours
            && (mark != self.memory.acknowledged
                || self.ask.scope != self.memory.holds
                || std::mem::take(&mut self.stranger))
        {
            self.memory.acknowledged = mark;
            self.memory.holds = self.ask.scope.clone();
            self.progress = true;
            let (peer, holds) = (body.card.clone(), self.ask.scope.clone());
            self.outputs.push_back(Output::Acknowledge { peer, mark, holds, receipt });
        }
        let whole = body.mine.as_ref().is_some_and(|slice| !slice.more);
        let heard = Heard { yours: body.yours.map(|(mark, _)| mark), whole };
        match body.mine {
            Some(slice) if self.joins(&slice) => {
                let (seen, anew) = (slice.to, slice.start == Start::Anew);
                let peer = body.card;
                let asked = self.memory.asked.stored_up_to(seen, anew);
                self.stage = Stage::Storing { seen, asked: asked.clone(), heard };
                let body = bytes;
                let slice = Box::new(slice);
                let wish = Output::Store { peer, slice, documents, seen, asked, anew, body };
                self.outputs.push_back(wish);
                Ok(())
            }
            _ => self.go_on(heard),
        }
    }

    /// Whether a piece continues what is stored, or starts over, and has anything to say.
    fn joins(&self, slice: &LogSlice) -> bool {
        let asked = &self.memory.asked;
        let left_out = [None, asked.digest(), asked.afresh().digest()];
        let news = slice.count() > 0 || slice.to != self.memory.seen;
        news && left_out.contains(&slice.left_out)
            && (slice.after == self.memory.seen || slice.start != Start::Continues)
    }

    fn go_on(&mut self, heard: Heard) -> Result<(), ExchangeFault> {
        let (peer, _) = self.met.expect("the peer has spoken");
        if !self.calls {
            match heard.yours {
                Some(after) => self.gather(peer, after),
                None => self.say(Some(self.memory.seen), None),
            }
            return Ok(());
        }
        // Or the peer, which heard of the start of its log last, would give all of it again.
        let made_up = self.making_up && self.memory.asked.known.is_none();
        if heard.whole && !made_up && self.sent == Some((self.memory.acknowledged, false)) {
            self.outputs.push_back(Output::Done);
            self.stage = Stage::Over;
            return Ok(());
        }
        let rounds = self.tally.rounds;
        if !self.progress || rounds >= ROUNDS_MAX {
            return Err(ExchangeFault::Stalled { rounds });
        }
        self.gather(peer, self.memory.acknowledged);
        Ok(())
    }

    /// The peer stores a log that is not this one: one of the two disks was put back. What it gave
    /// may be lost there and what was taken from it may be lost here, so nothing that is remembered
    /// of it holds. It is forgotten on disk before anything is said, or an answer that gets lost
    /// would leave each believing that the other has everything.
    fn start_over(&mut self) {
        let (peer, _) = self.met.expect("the peer has spoken");
        self.memory = Memory::NONE;
        self.memory.ask_for(&self.wants);
        self.ask = self.ask.afresh();
        self.anew = true;
        self.outputs.push_back(Output::Forget { peer });
        self.gather(peer, Mark::START);
    }

    fn gather(&mut self, peer: NodeId, after: Mark) {
        let (ask, packs) = (self.ask.clone(), self.packs);
        self.outputs.push_back(Output::Gather { peer, after, ask, packs });
        self.stage = Stage::Gathering;
    }

    /// This device's word that it stores the peer's log up to a mark.
    fn receipt(&self, mark: Mark) -> Receipt {
        let (node, store) = self.met.expect("a mark is in the log of somebody known");
        let scope = &self.memory.asked.scope;
        (self.signer.0)(&receipt_text(&self.me, node, store, mark, scope))
    }

    fn say(&mut self, yours: Option<Mark>, mine: Option<LogSlice>) {
        self.sent = mine.as_ref().map(|slice| (slice.to, slice.more));
        self.tally.sent_changes += mine.as_ref().map_or(0, LogSlice::count);
        let yours = yours.map(|mark| (mark, self.receipt(mark)));
        let ask = self.memory.asked.clone();
        self.making_up = ask.known.is_some();
        let body = Body { card: self.me.clone(), yours, mine, ask };
        let bytes = if self.packs { wire::encode_packed(&body) } else { wire::encode(&body) };
        self.tally.sent_bytes += bytes.len() as u64;
        self.tally.rounds += 1;
        self.outputs.push_back(Output::Send(bytes));
        if self.calls {
            self.stage = Stage::Listening;
        } else {
            self.outputs.push_back(Output::Done);
            self.stage = Stage::Over;
        }
    }
}

#[cfg(test)]
#[path = "exchange_tests.rs"]
mod tests;
