//! `guyline serve`: a node that can be reached, until it is told to stop.
//!
//! Prints one line, `Guyline is at http://127.0.0.1:PORT`, once it can be reached. An interrupt or
//! a termination ends it after what is under way is answered.

use std::io::Write;
use std::net::SocketAddr;
use std::process::ExitCode;

use tokio::signal::unix::{SignalKind, signal};

use super::{DataArgs, could_not, in_runtime, open};
use crate::background::Background;
use crate::http::Listening;
use crate::render::Typesetter;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct ServeArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Where to listen, on this machine only; port 0 takes any that is free
    #[arg(long, default_value = "127.0.0.1:0", value_name = "ADDRESS")]
    listen: String,
    /// Where to share with the shop's other devices, as 0.0.0.0:4771; without it, nowhere
    #[arg(long, value_name = "ADDRESS")]
    share: Option<SocketAddr>,
    /// Merge only when asked: neither call other devices nor listen for them
    #[arg(long)]
    no_background: bool,
}

pub(super) fn run(args: &ServeArgs, typesetter: Typesetter) -> ExitCode {
    in_runtime(serve(args, typesetter))
}

async fn serve(args: &ServeArgs, typesetter: Typesetter) -> ExitCode {
    let node = match open(&args.data.dir) {
        Ok(node) => node.with_typesetter(typesetter),
        Err(code) => return code,
    };
    // Before anybody can know that it runs, so that no signal is missed.
    let signals = signal(SignalKind::interrupt())
        .and_then(|interrupt| Ok((interrupt, signal(SignalKind::terminate())?)));
    let (mut interrupt, mut terminate) = match signals {
        Ok(signals) => signals,
        Err(error) => return could_not("wait for signals", &error, "start it again"),
    };
    let listening = match Listening::start(&node, &args.listen).await {
        Ok(listening) => listening,
        Err(error) => return could_not("listen", &error, error.help()),
    };
    let told = writeln!(std::io::stdout(), "Guyline is at {}", listening.address());
    if let Err(error) = told {
        let help = "start it with its output going somewhere";
        return could_not("say where it listens", &error, help);
    }
    if let Some(address) = args.share {
        match node.share(address).await {
            Ok(address) => println!("Sharing with the shop's devices at {address}"),
            Err(error) => return could_not("share", &error, error.help()),
        }
    }
    let background = (!args.no_background).then(|| Background::start(&node));
    tokio::select! {
        _ = interrupt.recv() => {}
        _ = terminate.recv() => {}
    }
    if let Some(background) = background {
        background.stop().await;
    }
    listening.stop().await;
    node.share_no_more().await;
    ExitCode::SUCCESS
}
