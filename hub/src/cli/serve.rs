//! `guyline serve`: a node that can be reached, until it is told to stop.
//!
//! Prints one line, `Guyline is at http://127.0.0.1:PORT`, once it can be reached. An interrupt or
//! a termination ends it after what is under way is answered. What happens meanwhile goes to
//! standard error: who was merged with and what was moved, never what anybody wrote.

use std::io::Write;
use std::process::ExitCode;
use std::time::Duration;

use tokio::signal::unix::{Signal, SignalKind, signal};
use tracing::level_filters::LevelFilter;

use super::browser::Served;
use super::settings::{BucketSettings, LogForm, LogLevel, ServeArgs, Settings, WrongSettings};
use super::{Unlocking, could_not, in_runtime, open_dir};
use crate::Node;
use crate::attachments::bucket::{BucketFault, BucketKeys, BucketPlace};
use crate::background::Background;
use crate::http::{ForBrowsers, Listening, Metrics, Screens};
use crate::render::Typesetter;

/// What waits for the bucket is tried again so often.
const FILLED_EVERY: Duration = Duration::from_secs(60);

pub(super) fn run(args: &ServeArgs, typesetter: Typesetter) -> ExitCode {
    let settings = match args.settings() {
        Ok(settings) => settings,
        Err(error) => {
            could_not("take the settings", &error, error.help());
            return ExitCode::from(2);
        }
    };
    if args.check_config {
        print!("{}", toml::to_string(&settings).expect("plain values only"));
        return ExitCode::SUCCESS;
    }
    write_log(&settings);
    in_runtime(serve(&settings, typesetter))
}

/// Events go to standard error from here on.
fn write_log(settings: &Settings) {
    let level = match settings.log {
        LogLevel::Error => LevelFilter::ERROR,
        LogLevel::Warn => LevelFilter::WARN,
        LogLevel::Info => LevelFilter::INFO,
        LogLevel::Debug => LevelFilter::DEBUG,
    };
    let log = tracing_subscriber::fmt().with_writer(std::io::stderr).with_max_level(level);
    match settings.log_form {
        LogForm::Text => log.with_ansi(false).init(),
        LogForm::Json => log.json().init(),
    }
}

async fn serve(settings: &Settings, typesetter: Typesetter) -> ExitCode {
    let node =
        match open_dir(&settings.data, &Unlocking::with_file(settings.passphrase_file.clone())) {
            Ok(node) => hub_where_shared(settings, node.with_typesetter(typesetter)),
            Err(code) => return code,
        };
    let node = match in_its_bucket(settings, node) {
        Ok(node) => node,
        Err(code) => return code,
    };
    // Before anybody can know that it runs, so that no signal is missed.
    let signals = signal(SignalKind::interrupt())
        .and_then(|interrupt| Ok((interrupt, signal(SignalKind::terminate())?)));
    let signals = match signals {
        Ok(signals) => signals,
        Err(error) => return could_not("wait for signals", &error, "start it again"),
    };
    match until_told(settings, &node, signals).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(code) => code,
    }
}

/// Who shares, or serves browsers elsewhere, is where the others look for the shop's work.
fn hub_where_shared(settings: &Settings, node: Node) -> Node {
    match settings.share.is_some() || settings.screens.is_some() {
        true => node.as_hub(),
        false => node,
    }
}

async fn until_told(
    settings: &Settings,
    node: &Node,
    (mut interrupt, mut terminate): (Signal, Signal),
) -> Result<(), ExitCode> {
    let listening = Listening::start(node, &settings.listen)
        .await
        .map_err(|error| could_not("listen", &error, error.help()))?;
    writeln!(std::io::stdout(), "Guyline is at {}", listening.address()).map_err(|error| {
        let help = "start it with its output going somewhere";
        could_not("say where it listens", &error, help)
    })?;
    tracing::info!(address = listening.address(), "screens are served");
    if let Some(address) = settings.share {
        let shared = node.share(address).await;
        let at = shared.map_err(|error| could_not("share", &error, error.help()))?;
        println!("Sharing with the shop's devices at {at}");
        tracing::info!(address = %at, "shared with the shop's devices");
    }
    if let Some(BucketPlace { bucket, endpoint, .. }) =
        settings.bucket.as_ref().map(BucketSettings::place)
    {
        println!("Attachments are kept in the bucket {bucket} at {endpoint}");
    }
    let metrics = match settings.metrics {
        Some(address) => Some(
            Metrics::start(node, address)
                .await
                .map_err(|error| could_not("answer for metrics", &error, error.help()))?,
        ),
        None => None,
    };
    if let Some(metrics) = &metrics {
        println!("Health and metrics are at {}", metrics.address());
    }
    let screens = for_browsers(settings, node).await?;
    let _watching = node.watch_others();
    let _said_where = Served::beside(node, listening.address());
    let filling = settings.bucket.is_some().then(|| tokio::spawn(fill_bucket(node.clone())));
    let background = settings.background.then(|| Background::start(node));
    tokio::select! {
        _ = interrupt.recv() => {}
        _ = terminate.recv() => {}
    }
    tracing::info!("told to stop");
    if let Some(filling) = filling {
        filling.abort();
    }
    if let Some(background) = background {
        background.stop().await;
    }
    if let Some(screens) = screens {
        screens.stop().await;
    }
    listening.stop().await;
    node.share_no_more().await;
    if let Some(metrics) = metrics {
        metrics.stop().await;
    }
    if let Err(error) = node.rest() {
        tracing::warn!(%error, "what was worked on is not as quick to open as it could be");
    }
    tracing::info!("stopped");
    Ok(())
}

/// The node with its attachments where settings say. A folder whose content lies in another bucket,
/// or in one that nothing names any more, is not served: its attachments would seem to be gone.
fn in_its_bucket(settings: &Settings, node: Node) -> Result<Node, ExitCode> {
    let wanted = settings.bucket.as_ref().map(BucketSettings::place);
    let failed = |fault: BucketFault| could_not("use the bucket", &fault, fault.help());
    let noted = BucketPlace::noted(&settings.data).map_err(failed)?;
    if let Some(noted) = noted.filter(|noted| wanted.as_ref() != Some(noted)) {
        let wrong = WrongSettings::Elsewhere { noted: Box::new(noted) };
        return Err(could_not("serve this folder", &wrong, wrong.help()));
    }
    let Some(place) = wanted else { return Ok(node) };
    let keys = BucketKeys::from_environment().map_err(failed)?;
    let node = node.with_bucket(&settings.data, &place, &keys).map_err(failed)?;
    Ok(node)
}

/// Puts into the bucket what waits in the folder for it, now and again: what was there before, and
/// what came while the bucket could not be reached.
async fn fill_bucket(node: Node) {
    loop {
        let moved = node.on_disk(|node| node.move_contents_out()).await;
        match moved {
            Ok(0) => {}
            Ok(moved) => tracing::info!(moved, "attachments were put into the bucket"),
            Err(error) => tracing::warn!(%error, "attachments wait for the bucket"),
        }
        tokio::time::sleep(FILLED_EVERY).await;
    }
}

/// Serves the screens to browsers elsewhere, where settings say so.
async fn for_browsers(settings: &Settings, node: &Node) -> Result<Option<Screens>, ExitCode> {
    let Some(address) = settings.screens else { return Ok(None) };
    let asked = ForBrowsers {
        address,
        hosts: settings.screens_host.clone(),
        certificate: settings.screens_certificate.clone().zip(settings.screens_key.clone()),
    };
    let screens = Screens::start(node, &asked)
        .await
        .map_err(|error| could_not("serve browsers", &error, error.help()))?;
    let at = screens.at();
    println!("Browsers that were let in sign in at {}", at.addresses.join(", "));
    println!("They are shown the certificate SHA-256 {}", at.fingerprint);
    tracing::info!(%address, "browsers are served");
    Ok(Some(screens))
}
