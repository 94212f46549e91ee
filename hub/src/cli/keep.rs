//! `guyline keep`: what a device keeps: everything, or the papers and the visits to wanted sites.
//!
//! Says what it is without a word; nothing that is here goes, and what is lacking comes with the
//! next merge.

use std::process::ExitCode;

use super::{DataArgs, could_not, open_existing};
use crate::desk::{KeepingPage, Refusal, keep_site_named, keeping_page};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct KeepArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Keeps everything
    Everything(DataArgs),
    /// Keeps the papers, and the visits to the sites that are wanted
    Wanted(DataArgs),
    /// Keeps the visits to a site
    Site(SiteArgs),
    /// Says what is kept
    Status(DataArgs),
}

#[derive(Debug, clap::Args)]
struct SiteArgs {
    #[command(flatten)]
    data: DataArgs,
    /// The site's id, or its name
    site: String,
}

pub(super) fn run(args: &KeepArgs) -> ExitCode {
    let data = match &args.what {
        What::Everything(data) | What::Wanted(data) | What::Status(data) => data,
        What::Site(asked) => &asked.data,
    };
    let node = match open_existing(data) {
        Ok(node) => node,
        Err(code) => return code,
    };
    let done = match &args.what {
        What::Everything(_) => node.keep_only_wanted(false),
        What::Wanted(_) => node.keep_only_wanted(true),
        What::Site(asked) => keep_site_named(&node, &asked.site),
        What::Status(_) => Ok(()),
    };
    match done.and_then(|()| keeping_page(&node)) {
        Ok(page) => told(&page),
        Err(refused) => refused_with(&refused),
    }
}

fn refused_with(refused: &Refusal) -> ExitCode {
    could_not("choose what is kept", refused, &refused.help)
}

fn told(page: &KeepingPage) -> ExitCode {
    let count = page.sites.len();
    let sites = if count == 1 { "site" } else { "sites" };
    match (page.only_wanted, &page.refused) {
        (true, _) => println!("the papers are kept, and the visits to {count} {sites}"),
        (false, None) => println!("everything is kept"),
        (false, Some(why)) => println!("everything is kept: {}", why.words()),
    }
    if page.only_wanted {
        for site in &page.sites {
            println!("  {}{}", site.name, if site.sent_to { " (sent there)" } else { "" });
        }
    }
    ExitCode::SUCCESS
}
