//! Sites on a map: GeoJSON (RFC 7946), WGS 84, longitude first.
//!
//! Where a site stands is told only where that is asked for: a feature without a position has no
//! geometry (RFC 7946, section 3.2: an unlocated feature). How to get in and what is there besides
//! the shop's channels stays in the record.

use guyline_core::record::{DocumentId, Repeater, Site};
use serde_json::{Value, json};

/// The sites, in the order given.
pub(crate) fn write(sites: &[(DocumentId, Site)], positions: bool) -> Vec<u8> {
    let features: Vec<Value> =
        sites.iter().map(|(id, site)| feature(*id, site, positions)).collect();
    let all = json!({ "type": "FeatureCollection", "features": features });
    serde_json::to_vec_pretty(&all).expect("text keys and finite numbers only")
}

fn feature(id: DocumentId, site: &Site, positions: bool) -> Value {
    let geometry = site.position.filter(|_| positions).map(
        |at| json!({ "type": "Point", "coordinates": [at.longitude_degrees, at.latitude_degrees] }),
    );
    let in_use = site.repeaters.iter().filter(|(_, repeater)| repeater.retired.is_none());
    let channels: Vec<Value> = in_use.map(|(id, repeater)| channel(id, repeater)).collect();
    json!({
        "type": "Feature",
        "id": id.to_string(),
        "geometry": geometry,
        "properties": { "name": site.name, "repeaters": channels },
    })
}

fn channel(id: &str, repeater: &Repeater) -> Value {
    json!({
        "id": id,
        "name": repeater.name,
        "receive_hz": repeater.receive_hz,
        "transmit_hz": repeater.transmit_hz,
        "channel_width_hz": repeater.channel_width_hz,
        "call_sign": repeater.call_sign,
    })
}
