//! The levels along everything that was connected, with what was read there.
//!
//! A reading is marked where it speaks of: at the chain's plane, on the diagram of the signal it is
//! a reading of. A stop stands at the node whose power it is about.

use super::shapes::{LevelMark, LevelStop, Levels};
use crate::checks::plan::Reads;
use crate::checks::{Appraisal, ChainState};
use crate::record::{Chain, Plane};
use crate::rf::chain::LevelDiagram;

/// Every diagram once: two chains often share a path, and then their readings stand on it together.
pub(super) fn levels_of(appraisal: &Appraisal) -> Vec<Levels> {
    let mut all: Vec<Levels> = Vec::new();
    for chain in &appraisal.chains {
        for diagram in &chain.diagrams {
            let found = one(appraisal, chain, diagram);
            match all.iter_mut().find(|known| known.diagram == found.diagram) {
                None => all.push(found),
                Some(known) => join(known, found),
            }
        }
    }
    all
}

fn join(known: &mut Levels, found: Levels) {
    known.chains.extend(found.chains);
    known.marks.extend(found.marks);
    for stop in found.stops {
        if !known.stops.contains(&stop) {
            known.stops.push(stop);
        }
    }
}

fn one(appraisal: &Appraisal, state: &ChainState, diagram: &LevelDiagram) -> Levels {
    let node = plane_node(&state.chain, diagram.keyed);
    let mut marks = Vec::new();
    for check in &appraisal.checks {
        let of_signal = match check.check.reads {
            Reads::Level => !diagram.keyed,
            Reads::Power => diagram.keyed,
            Reads::FrequencyError | Reads::Deviation => false,
        };
        let through = check.readings.iter().filter(|it| it.reading.chain == state.id);
        for it in through.filter(|it| of_signal && it.standing) {
            let Some(level_dbm) = it.verdict.at_plane else { continue };
            marks.push(LevelMark {
                reading: it.id.clone(),
                title: check.check.title.clone(),
                phase: it.reading.phase,
                node,
                level_dbm,
                expanded_db: it.verdict.at_plane_expanded,
            });
        }
    }
    marks.retain(|mark| mark.node < diagram.nodes.len());
    Levels {
        chains: vec![state.chain.name.clone()],
        diagram: diagram.clone(),
        marks,
        stops: stops(state, diagram),
    }
}

/// The node of a diagram at which the chain meets the repeater.
fn plane_node(chain: &Chain, keyed: bool) -> usize {
    match (keyed, chain.plane) {
        (false, _) => chain.between.len(),
        // The transmitter's power starts at its own port; the duplexer stands before the other.
        (true, Plane::AntennaPort) => 1,
        (true, Plane::TransmitterPort | Plane::ReceiverPort) => 0,
    }
}

/// The stops that bite at a diagram's nodes: at what is met next, or at the end itself.
fn stops(state: &ChainState, diagram: &LevelDiagram) -> Vec<LevelStop> {
    if !diagram.keyed {
        return Vec::new();
    }
    let nodes = &diagram.nodes;
    let mut found = Vec::new();
    for (index, node) in nodes.iter().enumerate() {
        let next = nodes.get(index + 1).and_then(|next| next.element.as_deref());
        let meets = next.unwrap_or(&node.label);
        for stop in state.stops.iter().filter(|stop| stop.at == meets) {
            found.push(LevelStop { node: index, what: format!("{}: {}", stop.at, stop.what) });
        }
    }
    found
}
