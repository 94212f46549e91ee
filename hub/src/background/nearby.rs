//! Announcing this device on the network, and hearing of the shop's others: mDNS service discovery
//! (RFC 6762, RFC 6763) by a library.
//!
//! In: where this device shares. Out: the shop's devices that announce themselves, with addresses.
//! What is announced says no name of a shop, a site or a person: see [`super::tag`]. Whatever is
//! heard may be forged or copied; it is checked for its tag and gives an address, never a device.

use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

use mdns_sd::{IfKind, Receiver, ResolvedService, ServiceDaemon, ServiceEvent, ServiceInfo};

use super::tag::{Tag, hex};
use crate::Node;
use crate::identity::PublicKey;

/// What the service is called on the network.
const SERVICE: &str = "_guyline._tcp.local.";
/// The library keeps whatever is announced until it runs out. Above so many records somebody floods
/// the network, and listening is given up for a while.
const RECORDS_MAX: i64 = 2_000;
/// The most addresses that are taken from one announcement.
const ADDRESSES_MAX: usize = 4;

/// What was heard.
#[derive(Debug)]
pub(super) enum Heard {
    /// A device of the shop is said to be at these addresses.
    There { name: String, key: PublicKey, addresses: Vec<SocketAddr> },
    /// What was announced under a name is so no more.
    Gone { name: String },
}

/// Announces and listens until it is dropped.
pub(super) struct Nearby {
    daemon: ServiceDaemon,
    events: Receiver<ServiceEvent>,
    at: SocketAddr,
}

impl Nearby {
    /// Starts, on the interfaces where this device shares; nothing where it is on no roster.
    pub(super) fn start(node: &Node, at: SocketAddr) -> Result<Option<Self>, mdns_sd::Error> {
        let Some(root) = node.root_key() else { return Ok(None) };
        let mut nonce = [0; 8];
        getrandom::fill(&mut nonce).map_err(|error| mdns_sd::Error::Msg(error.to_string()))?;
        let daemon = ServiceDaemon::new()?;
        let own = announced(&Tag::of(root, node.key(), nonce), nonce, at)?;
        match begin(&daemon, own, at) {
            Ok(events) => Ok(Some(Self { daemon, events, at })),
            Err(error) => {
                end(&daemon);
                Err(error)
            }
        }
    }

    /// Where this device shares, as it is announced.
    pub(super) fn at(&self) -> SocketAddr {
        self.at
    }

    /// The next that was heard of the shop's devices; none when the library gave up listening.
    pub(super) async fn next(&self, node: &Node) -> Option<Heard> {
        loop {
            match self.events.recv_async().await.ok()? {
                ServiceEvent::ServiceResolved(found) => {
                    if let Some(heard) = recognise(node, &found) {
                        return Some(heard);
                    }
                }
                ServiceEvent::ServiceRemoved(_, name) => return Some(Heard::Gone { name }),
                _ => {}
            }
        }
    }

    /// Whether so much is announced that listening costs too much.
    pub(super) async fn is_flooded(&self) -> bool {
        let Ok(answer) = self.daemon.get_metrics() else { return true };
        let counted = tokio::time::timeout(Duration::from_secs(2), answer.recv_async()).await;
        // A library that cannot even count has too much to do.
        let Ok(Ok(counts)) = counted else { return true };
        let cached = |name: &str| counts.get(name).copied().unwrap_or_default();
        let kinds = ["ptr", "srv", "addr", "txt", "nsec", "subtype"];
        kinds.iter().map(|kind| cached(&format!("cached-{kind}"))).sum::<i64>() > RECORDS_MAX
    }
}

impl Drop for Nearby {
    fn drop(&mut self) {
        end(&self.daemon);
    }
}

/// Interfaces first, so that nothing is said where this device does not share.
fn begin(
    daemon: &ServiceDaemon,
    own: ServiceInfo,
    at: SocketAddr,
) -> Result<Receiver<ServiceEvent>, mdns_sd::Error> {
    match at.ip() {
        ip if ip.is_loopback() => {
            daemon.disable_interface(IfKind::All)?;
            daemon.enable_interface(IfKind::LoopbackV4)?;
        }
        IpAddr::V4(ip) if ip.is_unspecified() => daemon.disable_interface(IfKind::IPv6)?,
        ip if ip.is_unspecified() => {}
        ip => {
            daemon.disable_interface(IfKind::All)?;
            daemon.enable_interface(IfKind::Addr(ip))?;
        }
    }
    daemon.register(own)?;
    daemon.browse(SERVICE)
}

/// Takes back what was announced and ends the library's thread.
fn end(daemon: &ServiceDaemon) {
    // A full queue is worked off soon; then it is asked again.
    for _ in 0..20 {
        match daemon.shutdown() {
            Err(mdns_sd::Error::Again) => std::thread::sleep(Duration::from_millis(5)),
            _ => return,
        }
    }
}

/// What is said of this device: a port, addresses, and the tag.
fn announced(tag: &Tag, nonce: [u8; 8], at: SocketAddr) -> Result<ServiceInfo, mdns_sd::Error> {
    let name = hex(nonce);
    let host = format!("{name}.local.");
    let parts = tag.texts();
    let info = |ip: String| ServiceInfo::new(SERVICE, &name, &host, ip, at.port(), &parts[..]);
    if at.ip().is_unspecified() {
        return Ok(info(String::new())?.enable_addr_auto());
    }
    info(at.ip().to_string())
}

/// Whose announcement it is; none for other shops', this device's own, and what is none at all.
fn recognise(node: &Node, found: &ResolvedService) -> Option<Heard> {
    let tag = Tag::read(|name| found.txt_properties.get_property_val_str(name))?;
    let key = node.whose(|root, devices| tag.whose(root, devices))?;
    if key == node.key() || found.port == 0 {
        return None;
    }
    let mut addresses: Vec<SocketAddr> = found
        .addresses
        .iter()
        .map(mdns_sd::ScopedIp::to_ip_addr)
        .filter(|ip| !ip.is_unspecified() && !ip.is_multicast())
        .map(|ip| SocketAddr::new(ip, found.port))
        .collect();
    // A set has no order of its own.
    addresses.sort_unstable();
    addresses.truncate(ADDRESSES_MAX);
    Some(Heard::There { name: found.fullname.clone(), key, addresses })
}
