//! `guyline demo`: plays a working day on files, through the same desk and exchange a crew uses.
//!
//! In: a folder with a day's files, and a folder to work in. Out: the day on a terminal page: what
//! each exchange moved, what was refused, the judged session, and whether all nodes ended alike.
//! The work folder's nodes are made anew; nothing else in it is touched.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use guyline_core::language::Language;
use guyline_core::record::{Author, Document, DocumentId, NotAnId, SessionEdit, Shop, Site};
use serde::de::DeserializeOwned;

use super::day::{Day, Entry, Work};
use super::paper;
use crate::Node;
use crate::desk::{self, Asker, ConnectChain, EnterReading, Refusal};
use crate::http::Listening;
use crate::sync::ExchangeReport;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// The folder with the day's files.
    #[arg(long, default_value = "demo-data")]
    data: PathBuf,
    /// The folder to make the nodes in.
    #[arg(long, default_value = "demo-data/work")]
    work: PathBuf,
}

/// Why the day could not be played.
#[derive(Debug, thiserror::Error)]
enum DayRefused {
    #[error("{file}: cannot be read: {source}")]
    Unreadable { file: String, source: std::io::Error },
    #[error("{file}: field {field}: {expected}")]
    Shape { file: String, field: String, expected: String },
    #[error("{file}: entry {number} ({at}): {refusal}")]
    Refused { file: String, number: usize, at: String, refusal: Box<Refusal> },
    #[error("{file}: entry {number}: it was to be refused as {code}, and was taken")]
    NotRefused { file: String, number: usize, code: String },
    #[error("{file}: entry {number} names the chain {label:?}, which it has not connected before")]
    NoSuchChain { file: String, number: usize, label: String },
    #[error(transparent)]
    Id(#[from] NotAnId),
    #[error("{0}")]
    Desk(#[from] Refusal),
    #[error(transparent)]
    Listen(#[from] crate::http::ListenError),
    #[error("cannot clear {dir}: {source}")]
    Work { dir: String, source: std::io::Error },
    #[error("the nodes did not end alike: {first} and {second} differ")]
    NotAlike { first: String, second: String },
}

/// Plays the day.
pub fn run(args: &DemoArgs) -> ExitCode {
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("could not start: {error}");
            return ExitCode::FAILURE;
        }
    };
    match runtime.block_on(play(args)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(refused) => {
            eprintln!("could not play the day: {refused}");
            ExitCode::FAILURE
        }
    }
}

async fn play(args: &DemoArgs) -> Result<(), DayRefused> {
    let day: Day = file(&args.data.join("day.json"))?;
    let session: DocumentId = day.session.id.parse()?;
    let hub = fresh_node(&args.work, &day.hub.dir, &day.hub.name)?;
    prepare(&args.data, &day, &hub)?;

    println!("Morning: the shop's papers go to the crew's tablets.");
    let listening = Listening::start(&hub, "127.0.0.1:0").await?;
    let mut crew = Vec::new();
    for member in &day.crews {
        let node = fresh_node(&args.work, &member.dir, &member.name)?;
        let work: Work = file(&args.data.join(&member.work))?;
        report(
            &member.name,
            &node.exchange_with(listening.address()).await.map_err(Refusal::from)?,
        );
        node.set_person(&work.person).map_err(Refusal::from)?;
        crew.push((node, member, work));
    }
    listening.stop().await;

    println!("\nAt the site, out of coverage: each works alone.");
    for (node, member, work) in &crew {
        let refused = work_through(node, session, &member.work, work)?;
        println!("  {}: {} entries", member.name, work.entries.len());
        let mut told = String::new();
        for refusal in refused {
            paper::wrapped(&mut told, 4, &format!("refused: {}", refusal.what));
            paper::wrapped(&mut told, 6, &refusal.help);
        }
        print!("{told}");
    }

    println!("\nOn the tailgate: the tablets merge with each other.");
    let (first, others) = crew.split_first().ok_or_else(no_crew)?;
    let listening = Listening::start(&first.0, "127.0.0.1:0").await?;
    for (node, member, _) in others {
        report(
            &member.name,
            &node.exchange_with(listening.address()).await.map_err(Refusal::from)?,
        );
    }
    listening.stop().await;

    println!("\nEvening: each merges with the shop's hub, and the office pulls everything.");
    let listening = Listening::start(&hub, "127.0.0.1:0").await?;
    for (node, member, _) in &crew {
        report(
            &member.name,
            &node.exchange_with(listening.address()).await.map_err(Refusal::from)?,
        );
    }
    let office = fresh_node(&args.work, &day.office.dir, &day.office.name)?;
    report(
        &day.office.name,
        &office.exchange_with(listening.address()).await.map_err(Refusal::from)?,
    );
    office.set_person(&day.office.person).map_err(Refusal::from)?;
    listening.stop().await;

    println!("{}", paper::page(&desk::page(&office, session)?));
    let nodes: Vec<&Node> = std::iter::once(&hub)
        .chain(crew.iter().map(|(node, _, _)| node))
        .chain(std::iter::once(&office))
        .collect();
    all_alike(&nodes)
}

fn no_crew() -> DayRefused {
    DayRefused::Shape {
        file: "day.json".to_owned(),
        field: "crews".to_owned(),
        expected: "at least one crew".to_owned(),
    }
}

fn file<T: DeserializeOwned>(path: &Path) -> Result<T, DayRefused> {
    let file = path.display().to_string();
    let text = std::fs::read_to_string(path)
        .map_err(|source| DayRefused::Unreadable { file: file.clone(), source })?;
    let mut reader = serde_json::Deserializer::from_str(&text);
    serde_path_to_error::deserialize(&mut reader).map_err(|error| DayRefused::Shape {
        file,
        field: error.path().to_string(),
        expected: error.inner().to_string(),
    })
}

/// A node in a folder of its own, made anew: a store of an earlier run would only be merged with.
fn fresh_node(work: &Path, dir: &str, name: &str) -> Result<Node, DayRefused> {
    let dir = work.join(dir);
    if dir.exists() {
        std::fs::remove_dir_all(&dir)
            .map_err(|source| DayRefused::Work { dir: dir.display().to_string(), source })?;
    }
    let node = Node::open(&dir).map_err(Refusal::from)?;
    node.set_name(name).map_err(Refusal::from)?;
    Ok(node)
}

/// The shop's papers and the planned session, on the hub.
fn prepare(data: &Path, day: &Day, hub: &Node) -> Result<(), DayRefused> {
    let author =
        Author { person: day.opened.by.clone(), device: day.hub.name.clone(), at: day.opened.at };
    let shop: Shop = file(&data.join(&day.shop.paper))?;
    let site: Site = file(&data.join(&day.site.paper))?;
    let (shop_id, site_id) = (day.shop.id.parse()?, day.site.id.parse()?);
    hub.set_person(&day.opened.by).map_err(Refusal::from)?;
    let made = Document::create_shop(shop_id, &shop, hub.fresh_actor(), &author);
    let (document, change) = made.map_err(Refusal::from)?;
    hub.create(document, change).map_err(Refusal::from)?;
    let made = Document::create_site(site_id, &site, hub.fresh_actor(), &author);
    let (document, change) = made.map_err(Refusal::from)?;
    hub.create(document, change).map_err(Refusal::from)?;
    let made = Document::create_session(
        day.session.id.parse()?,
        site_id,
        &day.session.repeater,
        &day.session.work_order,
        hub.fresh_actor(),
        &author,
    );
    let (document, change) = made.map_err(Refusal::from)?;
    hub.create(document, change).map_err(Refusal::from)?;
    Ok(())
}

/// Does everything in a file. Returns the refusals that had to come.
fn work_through(
    node: &Node,
    session: DocumentId,
    file: &str,
    work: &Work,
) -> Result<Vec<Refusal>, DayRefused> {
    let mut chains: BTreeMap<String, String> = BTreeMap::new();
    let mut refusals = Vec::new();
    for (index, entry) in work.entries.iter().enumerate() {
        let number = index + 1;
        let author = Author {
            person: work.person.clone(),
            device: node.name().map_err(Refusal::from)?,
            at: entry.at,
        };
        if let Some(read) = entry.read.as_ref().filter(|r| !chains.contains_key(&r.chain)) {
            let (file, label) = (file.to_owned(), read.chain.clone());
            return Err(DayRefused::NoSuchChain { file, number, label });
        }
        match (do_entry(node, session, &author, entry, &mut chains), entry.refused) {
            (Ok(()), None) => {}
            (Err(refusal), Some(code)) if refusal.code == code => refusals.push(refusal),
            (Ok(()), Some(code)) => {
                let (file, code) = (file.to_owned(), format!("{code:?}"));
                return Err(DayRefused::NotRefused { file, number, code });
            }
            (Err(refusal), _) => {
                let (file, at) = (file.to_owned(), entry.at.to_string());
                let refusal = Box::new(refusal);
                return Err(DayRefused::Refused { file, number, at, refusal });
            }
        }
    }
    Ok(refusals)
}

fn do_entry(
    node: &Node,
    session: DocumentId,
    author: &Author,
    entry: &Entry,
    chains: &mut BTreeMap<String, String>,
) -> Result<(), Refusal> {
    let write = |edit| desk::edit_session(node, session, author, &edit);
    if entry.join {
        write(SessionEdit::JoinCrew)?;
    }
    for caution in entry.acknowledge.clone() {
        write(SessionEdit::Acknowledge { id: node.fresh_id(), caution })?;
    }
    if let Some(text) = entry.adjust.clone() {
        write(SessionEdit::RecordAdjustment { id: node.fresh_id(), text })?;
    }
    if let Some(text) = entry.note.clone() {
        write(SessionEdit::AddNote { id: node.fresh_id(), text })?;
    }
    if let Some(text) = entry.summarise.clone() {
        write(SessionEdit::Summarise { text })?;
    }
    if let Some(connect) = &entry.connect {
        let asked = ConnectChain {
            session: session.to_string(),
            name: connect.name.clone(),
            plane: connect.plane,
            instrument: connect.instrument.clone(),
            port: connect.port.clone(),
            between: connect.between.clone(),
            line: connect.line.clone(),
        };
        let asker = Asker::new(node, Language::English);
        let id = desk::connect(&asker, session, author, asked)?;
        chains.insert(connect.label.clone(), id);
    }
    if let Some(read) = &entry.read {
        let asked = EnterReading {
            session: session.to_string(),
            check: read.check.clone(),
            chain: chains[&read.chain].clone(),
            typed: read.typed.clone(),
            unit: read.unit,
            phase: read.phase,
            replaces: None,
            live: None,
        };
        desk::record_reading(node, session, author, &asked)?;
    }
    Ok(())
}

fn report(name: &str, report: &ExchangeReport) {
    println!(
        "  {name} ↔ {}: sent {} changes ({} B), took in {} ({} B), {} rounds, {} ms",
        report.peer_name,
        report.sent_changes,
        report.sent_bytes,
        report.received_changes,
        report.received_bytes,
        report.rounds,
        report.took_ms
    );
}

/// Whether every node holds the same documents with the same heads.
fn all_alike(nodes: &[&Node]) -> Result<(), DayRefused> {
    let mut first: Option<(String, _)> = None;
    for node in nodes {
        let name = node.name().map_err(Refusal::from)?;
        let heads = node.heads().map_err(Refusal::from)?;
        let position = node.position().map_err(Refusal::from)?;
        println!("  {name}: {} documents, {position} changes", heads.len());
        match &first {
            None => first = Some((name, heads)),
            Some((first, same)) if *same != heads => {
                return Err(DayRefused::NotAlike { first: first.clone(), second: name });
            }
            Some(_) => {}
        }
    }
    println!("All {} nodes ended with the same heads.", nodes.len());
    Ok(())
}
