//! Merging by itself, beside whatever people do: with the shop's devices that are near, and where
//! a merge went well before.
//!
//! In: a node. Out: [`Background`], until it is dropped or stopped, and what the screens show of
//! it. [`rounds`] says whom to call when, [`nearby`] who is there, [`tag`] how they recognise each
//! other; here it is done. It never waits for a screen and no screen waits for it. It listens and
//! announces only while this device shares, and only where it does.

mod nearby;
mod page;
mod rounds;
mod settled;
mod tag;

use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{Notify, mpsc, oneshot};
use tokio::task::JoinHandle;

pub use page::{BackgroundPage, LastMerge, NearbyLine, UnderWay};

use crate::Node;
use crate::documents::NodeError;
use crate::identity::PublicKey;
use crate::sync::address::{Whereto, whereto};
use crate::sync::{ContentReport, ExchangeError, ExchangeReport, contents, members};
use nearby::{Heard, Nearby};
use rounds::{Call, Rounds};
use settled::{AsOf, Settled};

/// The setting that says that people paused it.
const PAUSED: &str = "background-paused";
/// The setting that says where to share again after a start.
const SHARE_AGAIN: &str = "share-again";
/// So often the network, the sharing and the known addresses are looked at.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// So long listening rests after it failed or somebody flooded the network.
const REST: Duration = Duration::from_secs(30);

/// Nothing was written or came for so long: then what was is made quick to open again.
const QUIET: Duration = Duration::from_secs(20);

/// What the node keeps of it: news for the loop, and what is shown.
#[derive(Debug, Default)]
pub(crate) struct Board {
    news: Notify,
    edited: AtomicBool,
    took: AtomicBool,
    afresh: AtomicBool,
    shown: Mutex<BackgroundPage>,
    settled: Mutex<Settled>,
}

impl Board {
    /// Something was written here.
    pub(crate) fn edited(&self) {
        self.edited.store(true, Ordering::Relaxed);
        self.news.notify_one();
    }

    /// Something came from another device.
    pub(crate) fn took(&self) {
        self.took.store(true, Ordering::Relaxed);
        self.news.notify_one();
    }

    /// Something else changed that the loop goes by, such as whether this device shares.
    pub(crate) fn look(&self) {
        self.news.notify_one();
    }

    fn shown(&self) -> MutexGuard<'_, BackgroundPage> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The loop at work. Dropping it stops it.
#[derive(Debug)]
pub struct Background {
    stop: oneshot::Sender<()>,
    done: JoinHandle<()>,
}

impl Background {
    /// Starts it, and shares again where people chose so. Must be called inside a runtime.
    pub fn start(node: &Node) -> Self {
        let (stop, stopped) = oneshot::channel();
        let node = node.clone();
        Self { stop, done: tokio::spawn(work(node, stopped)) }
    }

    /// Stops it; a call that is under way is let go.
    pub async fn stop(self) {
        // Both can only fail where it has ended already.
        let _ended_already = self.stop.send(());
        let _ended_already = self.done.await;
    }
}

impl Node {
    /// What merges by itself, for people to see.
    pub fn background(&self) -> BackgroundPage {
        self.background.shown().clone()
    }

    /// Pauses merging by itself, or goes on with it. Kept over starts. When this returns, what had
    /// begun is on the page as under way, and nothing else begins.
    pub fn pause_background(&self, paused: bool) -> Result<(), NodeError> {
        self.lock().store.set_setting(PAUSED, if paused { "yes" } else { "no" })?;
        self.background.shown().paused = paused;
        self.background.afresh.store(!paused, Ordering::Relaxed);
        self.background.look();
        Ok(())
    }

    /// Shares again at this address after every start, or at none.
    pub fn share_again(&self, at: Option<SocketAddr>) -> Result<(), NodeError> {
        let text = at.map(|at| at.to_string()).unwrap_or_default();
        self.lock().store.set_setting(SHARE_AGAIN, &text)?;
        self.background.shown().share_again = at.is_some();
        Ok(())
    }
}

/// What the loop goes by.
struct Loop {
    node: Node,
    rounds: Rounds,
    nearby: Option<Nearby>,
    rest_until: Instant,
    network: Option<IpAddr>,
    /// Since when nothing was written and nothing came, until what was is at rest.
    quiet_since: Option<Instant>,
    ended: mpsc::Sender<(Call, Result<ExchangeReport, ExchangeError>)>,
}

async fn work(node: Node, mut stopped: oneshot::Receiver<()>) {
    let (ended, mut ends) = mpsc::channel(16);
    let now = Instant::now();
    let (rounds, network) = (Rounds::default(), own_address());
    let (nearby, quiet_since) = (None, Some(now));
    let mut state = Loop { node, rounds, nearby, rest_until: now, network, quiet_since, ended };
    state.begin().await;
    let mut look = tokio::time::interval(LOOK_EVERY);
    loop {
        state.news();
        state.call();
        state.show();
        let due = state.rounds.next().unwrap_or_else(|| Instant::now() + LOOK_EVERY);
        tokio::select! {
            _ = &mut stopped => break,
            _ = look.tick() => state.look().await,
            () = state.node.background.news.notified() => state.follow_sharing().await,
            Some((call, went)) = ends.recv() => state.note(call, went),
            heard = hear(state.nearby.as_ref(), &state.node) => state.heard(heard),
            // A due call may have to wait for room; asking again each 50 ms is enough.
            () = tokio::time::sleep(wait_until(due)) => {}
        }
    }
    let mut shown = state.node.background.shown();
    *shown = BackgroundPage { paused: shown.paused, ..BackgroundPage::default() };
}

fn wait_until(due: Instant) -> Duration {
    due.saturating_duration_since(Instant::now()).max(Duration::from_millis(50))
}

async fn hear(nearby: Option<&Nearby>, node: &Node) -> Option<Heard> {
    match nearby {
        Some(nearby) => nearby.next(node).await,
        None => std::future::pending().await,
    }
}

impl Loop {
    /// Takes up what was chosen before the last start.
    async fn begin(&mut self) {
        let paused = self.node.setting(PAUSED);
        let again = self.node.setting(SHARE_AGAIN);
        let board = &self.node.background;
        match (paused, again) {
            (Ok(paused), Ok(again)) => {
                let paused = paused.as_deref() == Some("yes");
                let at: Option<SocketAddr> = again.and_then(|text| text.parse().ok());
                {
                    let mut shown = board.shown();
                    (shown.running, shown.paused) = (true, paused);
                    shown.share_again = at.is_some();
                }
                if let Some(at) = at
                    && let Err(error) = self.node.share(at).await
                {
                    board.shown().discovery = Some(format!("{error}: {}", error.help()));
                }
            }
            (Err(error), _) | (_, Err(error)) => {
                let mut shown = board.shown();
                (shown.running, shown.paused) = (true, true);
                shown.discovery = Some(error.to_string());
            }
        }
    }

    /// Looks what changed around this device.
    async fn look(&mut self) {
        let now = Instant::now();
        if self.quiet_since.is_some_and(|since| now.duration_since(since) >= QUIET) {
            self.quiet_since = None;
            tokio::task::spawn_blocking({
                let node = self.node.clone();
                // What cannot be written now is told of by whoever writes next.
                move || node.rest().unwrap_or_else(|error| tracing::debug!(%error, "no rest"))
            });
        }
        let network = own_address();
        if network != self.network {
            self.network = network;
            self.rounds.afresh(now);
        }
        self.follow_sharing().await;
        if let Some(nearby) = &self.nearby
            && nearby.is_flooded().await
        {
            self.deaf("somebody floods the network with announcements");
        }
        let node = self.node.clone();
        // The store waits for the disk.
        let addresses = tokio::task::spawn_blocking(move || node.addresses()).await;
        let Ok(Ok(addresses)) = addresses else { return };
        let members = addresses.into_iter().filter_map(|text| match whereto(&text) {
            Ok(Whereto::Member(address)) => Some(address),
            _ => None,
        });
        self.rounds.known(members, now);
    }

    /// Listens while this device shares, and no longer.
    async fn follow_sharing(&mut self) {
        let at = self.node.shared_at().await;
        if self.nearby.as_ref().map(Nearby::at) != at && self.nearby.take().is_some() {
            self.rounds.silence();
        }
        let (Some(at), None) = (at, &self.nearby) else { return };
        if Instant::now() < self.rest_until {
            return;
        }
        match Nearby::start(&self.node, at) {
            Ok(nearby) => {
                self.nearby = nearby;
                self.node.background.shown().discovery = None;
            }
            Err(error) => self.deaf(&error.to_string()),
        }
    }

    fn deaf(&mut self, why: &str) {
        tracing::warn!(why, "nobody is listened for");
        self.nearby = None;
        self.rest_until = Instant::now() + REST;
        self.node.background.shown().discovery = Some(why.to_owned());
    }

    fn heard(&mut self, heard: Option<Heard>) {
        match heard {
            Some(Heard::There { name, key, addresses }) => {
                self.rounds.heard(&name, key, addresses.into_iter(), Instant::now());
            }
            Some(Heard::Gone { name }) => self.rounds.gone(&name),
            // The library closes the way when more is announced than can be taken.
            None => self.deaf("somebody floods the network with announcements"),
        }
    }

    fn news(&mut self) {
        let (board, now) = (&self.node.background, Instant::now());
        let told = |flag: &AtomicBool| flag.swap(false, Ordering::Relaxed);
        if told(&board.edited) {
            self.quiet_since = Some(now);
            self.rounds.edited(now);
        }
        if told(&board.took) {
            self.quiet_since = Some(now);
            self.rounds.took(now, chance());
        }
        if told(&board.afresh) {
            self.rounds.afresh(now);
        }
    }

    fn call(&mut self) {
        if !self.node.is_member() {
            return;
        }
        // Held over both: no pause comes between asking for it and saying what begins.
        let mut shown = self.node.background.shown();
        if shown.paused {
            return;
        }
        for call in self.rounds.due(Instant::now()) {
            let (node, ended) = (self.node.clone(), self.ended.clone());
            let with = who(&node, call);
            shown.under_way(&with, 0, 0);
            tokio::spawn(async move {
                let told = {
                    let (node, with) = (node.clone(), with.clone());
                    move |sent, received| node.background.shown().under_way(&with, sent, received)
                };
                let went = members::exchange_with(&node, call.address, call.only, told).await;
                node.background.shown().under_way_ended(&with);
                if let Ok(report) = &went {
                    // Beside the loop: a large photograph must not keep a reading waiting.
                    tokio::spawn(settle(node.clone(), call, report.clone()));
                }
                // Only a loop that was stopped hears nothing more.
                let _stopped = ended.send((call, went)).await;
            });
        }
    }

    fn note(&mut self, call: Call, went: Result<ExchangeReport, ExchangeError>) {
        let (now, chance) = (Instant::now(), chance());
        let trouble = match went {
            Ok(report) => {
                let news = report.received_changes > 0;
                if news || report.sent_changes > 0 {
                    let (sent, received) = (report.sent_changes, report.received_changes);
                    tracing::info!(address = %call.address, sent, received, "merged");
                }
                self.node.background.shown().merged(report, self.node.now());
                self.rounds.ended(call, None, now, chance);
                if news {
                    self.rounds.took(now, chance);
                }
                return;
            }
            Err(error) => format!("{error}; {}", error.help()),
        };
        if self.rounds.trouble_of(call.address) != Some(trouble.as_str()) {
            tracing::warn!(address = %call.address, trouble, "not merged; tried again later");
        }
        self.rounds.ended(call, Some(trouble), now, chance);
    }

    fn show(&self) {
        let named = |key: PublicKey| {
            let whole_key = key.to_string();
            let members = self.node.members().into_iter();
            members.filter(|one| one.whole_key == whole_key).map(|one| one.name).next()
        };
        let lines = self.rounds.targets().iter().map(|target| NearbyLine {
            name: target.key.and_then(named),
            address: target.address.to_string(),
            announced: target.heard.is_some(),
            trouble: target.trouble.clone(),
        });
        let lines = lines.collect();
        self.node.background.shown().nearby = lines;
    }
}

/// How far this node has come.
async fn as_of(node: &Node) -> Result<AsOf, NodeError> {
    node.on_disk(|node| {
        let taken = node.contents().taken();
        Ok(AsOf { position: node.position()?, taken })
    })
    .await
}

/// Moves attachments with whoever was merged with, until people pause it. Where the merge moved no
/// change, and there was nothing to move the last time, nobody is asked.
async fn settle(node: Node, call: Call, merged: ExchangeReport) {
    let settled = || node.background.settled.lock().unwrap_or_else(PoisonError::into_inner);
    let with = (call.address, merged.peer_name);
    let as_of = match as_of(&node).await {
        Ok(as_of) => as_of,
        // The next merge tells of it.
        Err(error) => return tracing::debug!(%error, "attachments wait"),
    };
    let quiet = merged.sent_changes + merged.received_changes + merged.set_aside == 0;
    if quiet && settled().holds(&with, as_of, Instant::now()) {
        return;
    }
    let going = node.clone();
    let go_on = move || !going.background.shown().paused;
    let address = format!("https://{}", call.address);
    match contents::settle_with(&node, &address, call.only, go_on).await {
        Ok(report) => {
            let ContentReport { fetched, given, lacking, not_given, .. } = report;
            if lacking + not_given == 0 && report.refused.is_empty() {
                settled().note(with, as_of, Instant::now());
            }
            if fetched + given > 0 {
                tracing::info!(address = %call.address, fetched, given, "attachments moved");
            }
            for why in report.refused {
                tracing::warn!(address = %call.address, why, "an attachment was not taken");
            }
        }
        // Tried again after the next merge, from where it was cut off.
        Err(error) => tracing::debug!(address = %call.address, %error, "attachments wait"),
    }
}

fn who(node: &Node, call: Call) -> String {
    let whole_key = call.only.map(|key| key.to_string());
    let members = node.members().into_iter();
    let known = members.filter(|one| Some(&one.whole_key) == whole_key.as_ref());
    known.map(|one| one.name).next().unwrap_or_else(|| call.address.to_string())
}

/// The address this device has towards the others. Nothing is sent: the system is only asked which
/// way it would go (192.0.2.1 is nobody's: RFC 5737).
pub(crate) fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    Some(socket.local_addr().ok()?.ip())
}

/// A number from 0 to 1, to keep devices from calling in step. One half where there is no chance.
fn chance() -> f64 {
    getrandom::u32().map_or(0.5, |drawn| f64::from(drawn) / f64::from(u32::MAX))
}
