//! `guyline verify`: checks the sign-offs of a session, or a report's file, against the record,
//! years later if need be.
//!
//! Ends with 0 when all is true and nothing was changed since, with 2 when something was or nothing
//! is proved, and with 1 when it could not be checked.

use std::path::Path;
use std::process::ExitCode;

use guyline_core::checks::Difference;

use super::{DataArgs, could_not, json, open_existing, paper};
use crate::Node;
use crate::desk::{
    FileVerification, HistoryStep, SessionVerification, SignOffVerified, session_id, verify,
    verify_file,
};
use crate::render::Typesetter;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct VerifyArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id, or a report's file
    #[arg(value_name = "SESSION or FILE")]
    what: String,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Something was changed since, or a sign-off proves nothing.
const NOT_INTACT: u8 = 2;

pub(super) fn run(args: &VerifyArgs, typesetter: Typesetter) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node.with_typesetter(typesetter),
        Err(code) => return code,
    };
    let path = Path::new(&args.what);
    if path.is_file() {
        return file(&node, path, args.json);
    }
    match session_id(&args.what).and_then(|id| verify(&node, id)) {
        Ok(told) => {
            let text = if args.json { json(&told) } else { page(&told) };
            println!("{}", text.trim_end());
            let intact = !told.sign_offs.is_empty() && told.sign_offs.iter().all(|it| it.intact);
            if intact { ExitCode::SUCCESS } else { ExitCode::from(NOT_INTACT) }
        }
        Err(refusal) => {
            eprintln!("could not verify: {refusal}");
            ExitCode::FAILURE
        }
    }
}

fn file(node: &Node, path: &Path, as_json: bool) -> ExitCode {
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) => {
            let what = format!("read {}", path.display());
            return could_not(&what, &error, "check that you may read it");
        }
    };
    match verify_file(node, &bytes) {
        Ok(told) => {
            let text = if as_json { json(&told) } else { file_page(&told) };
            println!("{}", text.trim_end());
            if told.intact { ExitCode::SUCCESS } else { ExitCode::from(NOT_INTACT) }
        }
        Err(refusal) => {
            eprintln!("could not verify: {refusal}");
            ExitCode::FAILURE
        }
    }
}

fn file_page(told: &FileVerification) -> String {
    let mut out = String::new();
    if let Some(why) = &told.refused {
        paper::wrapped(&mut out, 0, &format!("✗ this file proves nothing: {why}"));
        return out;
    }
    let known = |text: &Option<String>| text.clone().unwrap_or_else(|| "unknown".to_owned());
    let (device, program) = (known(&told.device), known(&told.program));
    paper::wrapped(&mut out, 0, "✓ not a byte was changed since it was sealed");
    let own = if told.this_device { ", this device's own" } else { "" };
    paper::wrapped(&mut out, 2, &format!("sealed by {device}, key {}{own}", known(&told.key)));
    if let Some(name) = &told.member {
        paper::wrapped(&mut out, 2, &format!("on the roster as {name}"));
    }
    if let Some(missing) = &told.missing {
        paper::wrapped(
            &mut out,
            0,
            &format!("○ it cannot be checked against the record: {missing}"),
        );
        return out;
    }
    let version = env!("CARGO_PKG_VERSION");
    match told.same_file {
        Some(true) => {
            paper::wrapped(&mut out, 0, "✓ the record it names gives this very file");
        }
        _ if program == version => {
            paper::wrapped(&mut out, 0, "✗ the record it names gives another file: it is forged");
        }
        _ => {
            let words =
                format!("version {program} made it, and {version} may lay it out otherwise");
            paper::wrapped(&mut out, 0, &format!("○ not made again alike: {words}"));
        }
    }
    if told.changes > 0 {
        paper::wrapped(
            &mut out,
            0,
            &format!("△ what it tells of got {} changes since", told.changes),
        );
    }
    differences(&mut out, "what it tells of is judged as in this file", &told.now);
    out
}

fn page(told: &SessionVerification) -> String {
    let mut out = format!("{}: {}\n", told.site, told.repeater);
    if told.sign_offs.is_empty() {
        paper::wrapped(&mut out, 0, "nobody signed this visit off");
    }
    for sign_off in &told.sign_offs {
        one(&mut out, told, sign_off);
    }
    out
}

fn one(out: &mut String, told: &SessionVerification, it: &SignOffVerified) {
    let who = told.people.get(&it.stamp.by).unwrap_or(&it.stamp.by);
    let stamp = &it.stamp;
    paper::wrapped(out, 0, &format!("signed off by {who} on {} at {}", stamp.device, stamp.at));
    let whose = it.member.as_ref().map(|name| format!(", on the roster as {name}"));
    let whose = whose.unwrap_or_else(|| ", which is on no roster known here".to_owned());
    paper::wrapped(out, 2, &format!("key {}{whose}", it.key));
    if let Some(why) = &it.refused {
        paper::wrapped(out, 2, &format!("✗ this sign-off proves nothing: {why}"));
        return;
    }
    paper::wrapped(out, 2, "✓ the signature is true: that device signed these words");
    if let Some(missing) = &it.missing {
        paper::wrapped(out, 2, &format!("○ {missing}"));
        return;
    }
    let core = it.core.as_deref().unwrap_or("unknown");
    let program = env!("CARGO_PKG_VERSION");
    paper::wrapped(out, 2, &format!("judged by version {core}; checked by version {program}"));
    differences(out, "the record as it was signed is judged the same today", &it.rejudged);
    for paper_since in &it.papers {
        let changes = paper_since.changes;
        paper::wrapped(
            out,
            2,
            &format!("△ the {} changed {changes} times since", paper_since.paper),
        );
    }
    steps(out, told, "written by people who had not seen the sign-off", &it.apart);
    steps(out, told, "written after it", &it.after);
    for amendment in &it.amendments {
        let who = told.people.get(&amendment.stamp.by).unwrap_or(&amendment.stamp.by);
        paper::wrapped(out, 4, &format!("reason given by {who}: {}", amendment.reason));
    }
    differences(out, "as it stands now, the record says what was signed", &it.now);
}

fn differences(out: &mut String, same: &str, found: &[Difference]) {
    if found.is_empty() {
        paper::wrapped(out, 2, &format!("✓ {same}"));
        return;
    }
    paper::wrapped(out, 2, &format!("✗ not so: {same}"));
    let shown = |text: &Option<String>| text.clone().unwrap_or_else(|| "nothing".to_owned());
    for Difference { at, signed, now } in found {
        paper::wrapped(out, 4, &format!("{at}: signed {}; now {}", shown(signed), shown(now)));
    }
}

fn steps(out: &mut String, told: &SessionVerification, what: &str, steps: &[HistoryStep]) {
    if steps.is_empty() {
        return;
    }
    paper::wrapped(out, 2, &format!("△ {what}:"));
    for HistoryStep { step, words, .. } in steps {
        let who = step.stamp.as_ref().map(|stamp| {
            let name = told.people.get(&stamp.by).unwrap_or(&stamp.by);
            format!("{name}, {}", stamp.at)
        });
        let who = who.unwrap_or_else(|| "somebody".to_owned());
        paper::wrapped(out, 4, &format!("{who}: {words}"));
    }
}
