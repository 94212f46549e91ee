//! `guyline exchange`: makes a node and the one at an address level, and prints what was moved.

use std::process::ExitCode;

use super::{DataArgs, could_not, in_runtime, open};
use crate::Node;
use crate::sync::address::loopback;
use crate::sync::{ContentReport, ExchangeReport};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct ExchangeArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Where the other node is, as it prints it when it starts
    address: String,
}

pub(super) fn run(args: &ExchangeArgs) -> ExitCode {
    // Before a store is made for a command that cannot be carried out.
    if let Err(refused) = loopback(&args.address) {
        could_not("exchange", &refused, refused.help());
        return ExitCode::from(2);
    }
    in_runtime(exchange(args))
}

async fn exchange(args: &ExchangeArgs) -> ExitCode {
    let node = match open(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    match node.exchange_with(&args.address).await {
        Ok(report) => {
            print(&report);
            settle(&node, &args.address).await
        }
        Err(error) => could_not("exchange", &error, error.help()),
    }
}

/// Moves attachments too: what is named and lacking, both ways.
async fn settle(node: &Node, address: &str) -> ExitCode {
    let ContentReport { fetched, given, lacking, refused, .. } =
        match node.settle_contents_with(address).await {
            Ok(moved) => moved,
            Err(error) => return could_not("move the attachments", &error, error.help()),
        };
    if fetched + given + lacking > 0 {
        println!("  attachments: {fetched} fetched, {given} given, {lacking} still not here");
    }
    for why in &refused {
        println!("  not taken: {why}");
    }
    ExitCode::SUCCESS
}

fn print(report: &ExchangeReport) {
    let ExchangeReport { peer_name, rounds, took_ms, set_aside, .. } = report;
    println!("level with {peer_name} after {rounds} round trips in {took_ms} ms");
    println!("  sent      {} changes, {} bytes", report.sent_changes, report.sent_bytes);
    println!("  received  {} changes, {} bytes", report.received_changes, report.received_bytes);
    println!("  documents changed here: {}", report.documents_touched.len());
    if *set_aside > 0 {
        println!("  set aside as malformed: {set_aside} changes");
    }
}
