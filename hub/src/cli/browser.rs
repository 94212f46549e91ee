//! `guyline browser`: which browsers a hub lets in, granting one, ending one.
//!
//! A hub that runs has its store to itself, so it is asked over loopback, where `guyline serve`
//! said it listens ([`Served`]); one that does not run is opened. Both ways it is the desk's own
//! command that is carried out.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand};
use serde_json::{Value, json};

use super::{DataArgs, could_not, in_runtime, unlocked};
use crate::desk::{self, BrowsersPage, Code, Refusal};
use crate::identity::Role;
use crate::store::{OpenError, demand};
use crate::{Node, NodeRefused};

/// The file beside the store that says where a node that runs is asked.
const SERVED: &str = "served-at";

/// What the command line asks.
#[derive(Debug, Args)]
pub(super) struct BrowserArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Lets one browser in. Prints the link or the code it comes with, once, within ten minutes
    Grant(GrantArgs),
    /// Shows which browsers are let in
    List(ListArgs),
    /// Ends what a browser was granted, at once
    Revoke(RevokeArgs),
}

#[derive(Debug, Args)]
struct GrantArgs {
    #[command(flatten)]
    data: DataArgs,
    /// What it is called, by where it stands, as "office desk"
    #[arg(long)]
    name: String,
    /// What it is for: office, crew or read-only
    #[arg(long, value_parser = role)]
    role: Role,
    /// Whose it is, by id in the shop; without one, who holds the hub
    #[arg(long, value_name = "PERSON")]
    person: Option<String>,
    /// For so many days
    #[arg(long, default_value_t = 30)]
    days: u32,
    /// Show the link as a QR code too, for a camera
    #[arg(long)]
    qr: bool,
}

#[derive(Debug, Args)]
struct ListArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Args)]
struct RevokeArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The grant's id, from the list
    id: String,
}

/// A role by its name.
fn role(text: &str) -> Result<Role, String> {
    serde_json::from_value(Value::from(text))
        .map_err(|_| "the roles are office, crew and read-only".to_owned())
}

pub(super) fn run(args: &BrowserArgs) -> ExitCode {
    in_runtime(async {
        match &args.what {
            What::Grant(asked) => grant(asked).await,
            What::List(asked) => match ask(&asked.data, "browsers", json!({})).await {
                Ok(page) => list(&page, asked.json),
                Err(refusal) => refused("list the browsers", &refusal),
            },
            What::Revoke(asked) => {
                let body = json!({ "id": asked.id });
                match ask(&asked.data, "revoke-browser", body).await {
                    Ok(page) => list(&page, false),
                    Err(refusal) => refused("end it", &refusal),
                }
            }
        }
    })
}

async fn grant(asked: &GrantArgs) -> ExitCode {
    let GrantArgs { data, name, role, person, days, qr } = asked;
    let body = json!({ "name": name, "role": role, "person": person, "days": days });
    let page = match ask(data, "grant-browser", body).await {
        Ok(page) => page,
        Err(refusal) => return refused("let a browser in", &refusal),
    };
    let code = page.code.unwrap_or_default();
    match page.link {
        Some(link) => {
            println!("{link}");
            if *qr {
                super::show_qr(&link);
            }
        }
        None => {
            println!("{code}");
            if *qr {
                eprintln!(
                    "There is no link to show: serve browsers with `guyline serve --screens`"
                );
            }
        }
    }
    eprintln!("It works once, within ten minutes. To type: {}", in_groups(&code));
    if let Some(fingerprint) = page.fingerprint {
        eprintln!("The browser is shown the certificate SHA-256 {fingerprint}");
    }
    ExitCode::SUCCESS
}

/// In fours, for people to type.
fn in_groups(code: &str) -> String {
    let letters: Vec<char> = code.chars().collect();
    let groups = letters.chunks(4).map(|group| group.iter().collect::<String>());
    groups.collect::<Vec<_>>().join("-")
}

fn list(page: &BrowsersPage, as_json: bool) -> ExitCode {
    if as_json {
        println!("{}", super::json(page));
        return ExitCode::SUCCESS;
    }
    if page.grants.is_empty() {
        println!("no browser is let in");
    }
    for grant in &page.grants {
        let state = match (&grant.last_used, grant.open) {
            (_, false) => "ended".to_owned(),
            (None, true) => "not signed in yet".to_owned(),
            (Some(at), true) => format!("last used {at}"),
        };
        let role = super::json(&grant.role);
        let role = role.trim_matches('"');
        println!(
            "{}  {}: {role} for {}, until {}, {state}",
            grant.id, grant.name, grant.person, grant.until
        );
    }
    ExitCode::SUCCESS
}

fn refused(what: &str, refusal: &Refusal) -> ExitCode {
    could_not(what, &std::io::Error::other(refusal.what.clone()), &refusal.help)
}

/// Asks the node in a folder, whether it runs or not.
async fn ask(data: &DataArgs, command: &str, body: Value) -> Result<BrowsersPage, Refusal> {
    let dir = &data.dir;
    demand(dir)?;
    let given = match unlocked(dir, &data.unlocking) {
        Ok(node) => desk::call(&node, command, body).await?,
        Err(NodeRefused::Store(OpenError::InUse { .. })) => ask_running(dir, command, body).await?,
        Err(error) => return Err(error.into()),
    };
    serde_json::from_value(given).map_err(|error| not_ours(&error.to_string()))
}

async fn ask_running(dir: &Path, command: &str, body: Value) -> Result<Value, Refusal> {
    let address = std::fs::read_to_string(dir.join(SERVED)).map_err(|error| {
        let what = format!("another Guyline is using the folder and does not say where: {error}");
        Refusal::new(Code::NoAnswer, what, "do it on its Devices screen, or stop it first")
    })?;
    let address = crate::sync::address::loopback(address.trim())
        .map_err(|error| not_ours(&error.to_string()))?;
    let answer = reqwest::Client::new()
        .post(format!("http://{address}/api/{command}"))
        .header("content-type", "application/json")
        .body(body.to_string())
        .send()
        .await
        .map_err(|error| not_ours(&error.to_string()))?;
    let done = answer.status().is_success();
    let said = answer.bytes().await.map_err(|error| not_ours(&error.to_string()))?;
    let said = serde_json::from_slice(&said).map_err(|error| not_ours(&error.to_string()))?;
    if done {
        return Ok(said);
    }
    Err(serde_json::from_value(said).unwrap_or_else(|error| not_ours(&error.to_string())))
}

fn not_ours(why: &str) -> Refusal {
    let what = format!("the Guyline that uses the folder did not answer: {why}");
    Refusal::new(Code::NoAnswer, what, "do it on its Devices screen, or stop it first")
}

/// Says beside the store where its node is asked, as long as it is.
pub(super) struct Served(PathBuf);

impl Served {
    pub(super) fn beside(node: &Node, address: &str) -> Self {
        let path = node.folder().join(SERVED);
        if let Err(error) = std::fs::write(&path, address) {
            // Only `guyline browser` goes by it, and says what to do without.
            tracing::warn!(%error, "the folder does not say where this node is asked");
        }
        Self(path)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // One that stays behind leads to nobody, which is told.
        let _stays = std::fs::remove_file(&self.0);
    }
}
