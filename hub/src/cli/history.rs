//! `guyline history`: what happened in a session, by whom, and the session as it was at any step.
//!
//! The order is that of cause and effect. Times are what each device's clock said; a clock that
//! disagrees is named.

use std::process::ExitCode;

use super::{DataArgs, json, open_existing, paper};
use crate::Node;
use crate::desk::{HistoryStep, Refusal, SessionHistory, history, page_after};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct HistoryArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id
    session: String,
    /// Show the session as it was after the change with this hash
    #[arg(long, value_name = "CHANGE")]
    after: Option<String>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &HistoryArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    match text(&node, args) {
        Ok(text) => {
            println!("{}", text.trim_end());
            ExitCode::SUCCESS
        }
        Err(refusal) => {
            eprintln!("could not tell the history: {refusal}");
            ExitCode::FAILURE
        }
    }
}

fn text(node: &Node, args: &HistoryArgs) -> Result<String, Refusal> {
    let id = crate::desk::session_id(&args.session)?;
    match &args.after {
        Some(change) => {
            let page = page_after(node, id, change)?;
            Ok(if args.json { json(&page) } else { paper::page(&page) })
        }
        None => {
            let told = history(node, id)?;
            Ok(if args.json { json(&told) } else { steps(&told) })
        }
    }
}

fn steps(told: &SessionHistory) -> String {
    let mut out = format!("{}: {}\n", told.site, told.repeater);
    for line in &told.steps {
        step(&mut out, told, line);
    }
    out
}

fn step(
    out: &mut String,
    told: &SessionHistory,
    HistoryStep { step, words, sealed_by }: &HistoryStep,
) {
    let (who, at) = match &step.stamp {
        Some(stamp) => {
            let who = told.people.get(&stamp.by).unwrap_or(&stamp.by);
            (format!("{who} ({})", stamp.device), stamp.at.to_string())
        }
        None => ("somebody".to_owned(), "no time given".to_owned()),
    };
    let change = step.change.get(..12).unwrap_or(&step.change);
    out.push_str(&format!("{change}  {at}  {who}\n"));
    paper::wrapped(out, 14, words);
    if let Some(device) = sealed_by {
        paper::wrapped(out, 14, &format!("sealed by {device}"));
    }
    if step.unseen > 0 {
        paper::wrapped(out, 14, &format!("without having seen {} of the steps above", step.unseen));
    }
    if let Some(behind_s) = step.behind_s {
        let words =
            format!("this clock is {behind_s} s behind one it had heard: one of them is wrong");
        paper::wrapped(out, 14, &words);
    }
}
