//! `guyline attach`: a file attached to a visit. `guyline attachment`: what is attached, and out of
//! the store again as a file.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use guyline_core::record::{Author, Subject, SubjectKind};

use super::{DataArgs, could_not, json, open_existing};
use crate::Node;
use crate::attachments::limits::{KINDS, type_of_name};
use crate::desk::{
    AttachmentLine, Given, Refusal, attach_file, attachment_lines, author, content_file, hash_in,
    papers, session_id,
};

/// What `attach` asks.
#[derive(Debug, clap::Args)]
pub(super) struct AttachArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id
    session: String,
    /// The file to attach: a photograph, a sweep, a recording, a certificate
    file: PathBuf,
    /// What it shows
    #[arg(long)]
    caption: Option<String>,
    /// The check it belongs to; without this and --reading, the whole visit
    #[arg(long, value_name = "ID", conflicts_with = "reading")]
    check: Option<String>,
    /// The reading it belongs to
    #[arg(long, value_name = "ID")]
    reading: Option<String>,
    /// Who attaches it, by id; without it, who holds the device
    #[arg(long, value_name = "PERSON")]
    by: Option<String>,
    /// Keep where a photograph was taken, and with what: otherwise both are left out
    #[arg(long)]
    keep_position: bool,
}

/// What `attachment` asks.
#[derive(Debug, clap::Args)]
pub(super) struct AttachmentArgs {
    #[command(subcommand)]
    way: Way,
}

#[derive(Debug, clap::Subcommand)]
enum Way {
    /// Tells what is attached to a visit, and whether it is on this device.
    List(ListArgs),
    /// Writes an attachment into a file.
    Get(GetArgs),
}

#[derive(Debug, clap::Args)]
struct ListArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id
    session: String,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
struct GetArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The session's id
    session: String,
    /// The attachment's id, as the list tells it
    attachment: String,
    /// The file to write; it must not be there yet
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

pub(super) fn attach(args: &AttachArgs) -> ExitCode {
    let bytes = match read(&args.file) {
        Ok(bytes) => bytes,
        Err(error) => {
            could_not(
                &format!("read {}", args.file.display()),
                &error,
                "name a file that can be read and is no larger than is taken",
            );
            return ExitCode::from(2);
        }
    };
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    match attach_to(&node, args, bytes) {
        Ok(id) => {
            println!("attached as {id}");
            ExitCode::SUCCESS
        }
        Err(refusal) => refused("attach the file", &refusal),
    }
}

fn attach_to(node: &Node, args: &AttachArgs, bytes: Vec<u8>) -> Result<String, Refusal> {
    let name = args.file.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
    let of = |kind, id: &String| Subject { kind, id: id.clone() };
    let check = args.check.as_ref().map(|id| of(SubjectKind::Check, id));
    let reading = args.reading.as_ref().map(|id| of(SubjectKind::Reading, id));
    let given = Given {
        bytes,
        file_name: &name,
        media_type: type_of_name(&name),
        caption: args.caption.as_deref(),
        of: check.or(reading),
        keep_position: args.keep_position,
    };
    let by = match &args.by {
        Some(person) => Author { person: person.clone(), device: node.name()?, at: node.now() },
        None => author(node)?,
    };
    attach_file(node, session_id(&args.session)?, &by, given)
}

/// A file's bytes, no more than the largest kind may have and one.
fn read(path: &Path) -> std::io::Result<Vec<u8>> {
    let most = KINDS.iter().map(|kind| kind.bytes_max).max().unwrap_or_default();
    let mut bytes = Vec::new();
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

pub(super) fn attachment(args: &AttachmentArgs) -> ExitCode {
    match &args.way {
        Way::List(args) => list(args),
        Way::Get(args) => get(args),
    }
}

fn list(args: &ListArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let lines = session_id(&args.session).and_then(|id| {
        let session = papers(&node, id)?.session;
        Ok(attachment_lines(&node, &session, |of| of.id.clone()))
    });
    match lines {
        Ok(lines) if args.json => println!("{}", json(&lines)),
        Ok(lines) if lines.is_empty() => println!("nothing is attached"),
        Ok(lines) => lines.iter().for_each(told),
        Err(refusal) => return refused("list the attachments", &refusal),
    }
    ExitCode::SUCCESS
}

fn told(line: &AttachmentLine) {
    let AttachmentLine { id, media_type, length, file_name, stamp, .. } = line;
    let place = match (line.here, line.arrived) {
        (true, _) => "on this device".to_owned(),
        (false, 0) => "not fetched yet".to_owned(),
        (false, arrived) => format!("{arrived} bytes of it fetched"),
    };
    let off = if line.retired { ", taken off the visit" } else { "" };
    println!("{id}  {media_type}, {length} bytes, {place}{off}");
    let caption = line.captions.join(" / ");
    let of = line.of.as_ref().map(|of| format!(", of {of}")).unwrap_or_default();
    println!("  {file_name}: {caption}{of}");
    println!("  by {}, {}, {}", stamp.by, stamp.device, stamp.at);
}

fn get(args: &GetArgs) -> ExitCode {
    let node = match open_existing(&args.data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let found = session_id(&args.session).and_then(|id| {
        let session = papers(&node, id)?.session;
        Ok(content_file(&node, hash_in(&session, &args.attachment)?)?)
    });
    let bytes = match found {
        Ok((_, _, bytes)) => bytes,
        Err(refusal) => return refused("get the attachment", &refusal),
    };
    let written = File::create_new(&args.out)
        .and_then(|mut file| file.write_all(&bytes).and_then(|()| file.sync_all()));
    if let Err(error) = written {
        let help = "name a file that is not there yet, in a folder you may write in";
        return could_not(&format!("write {}", args.out.display()), &error, help);
    }
    println!("{}: {} bytes", args.out.display(), bytes.len());
    ExitCode::SUCCESS
}

fn refused(what: &str, refusal: &Refusal) -> ExitCode {
    eprintln!("could not {what}: {refusal}");
    ExitCode::FAILURE
}
