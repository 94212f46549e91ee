//! `guyline encrypt`: a store's files made readable with a passphrase only, readable again, or
//! closed with another one.
//!
//! The store must not be in use. A passphrase comes from a file, or from the terminal, where a new
//! one is asked for twice. It is written nowhere. Nobody can open the folder without it, but for
//! the window, where the keyring of the platform is to open it too.

use std::path::PathBuf;
use std::process::ExitCode;

use super::{DataArgs, asked, could_not};
use crate::at_rest::keyring::{self, KeyringError, Platform, RingFault};
use crate::at_rest::switch::{self, SwitchError, Switched};
use crate::at_rest::{Cost, EncryptionError, Passphrase, is_encrypted};
use crate::store::demand_file;

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct EncryptArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Encrypts the store, its attachments and the device's keys
    On(DataArgs),
    /// Writes them as they were before
    Off(DataArgs),
    /// Gives an encrypted store another passphrase
    Change(ChangeArgs),
    /// Has the keyring of the platform open it too, so that the window does not ask
    #[command(subcommand)]
    Keyring(Ring),
    /// Says whether it is encrypted
    Status(DataArgs),
}

#[derive(Debug, clap::Subcommand)]
enum Ring {
    /// From now on, or anew; the passphrase opens it as before
    On(DataArgs),
    /// No longer
    Off(DataArgs),
}

#[derive(Debug, clap::Args)]
struct ChangeArgs {
    #[command(flatten)]
    data: DataArgs,
    /// A file that holds the new passphrase; without it a terminal is asked
    #[arg(long, value_name = "FILE")]
    new_passphrase_file: Option<PathBuf>,
}

pub(super) fn run(args: &EncryptArgs) -> ExitCode {
    let data = match &args.what {
        What::On(data) | What::Off(data) | What::Status(data) => data,
        What::Change(asked) => &asked.data,
        What::Keyring(Ring::On(data) | Ring::Off(data)) => data,
    };
    if let Err(error) = demand_file(&data.dir) {
        return could_not("encrypt", &error, error.help());
    }
    let done = match &args.what {
        What::On(data) => on(data).map(|done| told(&done, "encrypted")).map_err(Into::into),
        What::Off(data) => off(data).map(|done| told(&done, "no longer encrypted")),
        What::Change(asked) => {
            change(asked).map(|()| println!("the new passphrase opens it now")).map_err(Into::into)
        }
        What::Keyring(Ring::On(data)) => ring_on(data),
        What::Keyring(Ring::Off(data)) => ring_off(data),
        What::Status(data) => status(data).map_err(Into::into),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => could_not("encrypt", &error, error.help()),
    }
}

fn status(data: &DataArgs) -> Result<(), SwitchError> {
    let is = if is_encrypted(&data.dir)? { "is" } else { "is not" };
    println!("{} {is} encrypted", data.dir.display());
    if keyring::is_on(&data.dir) {
        match keyring::keys(&data.dir, &Platform) {
            Err(fault) => println!("the window asks for the passphrase: {fault}"),
            Ok(_) => println!("the window opens it with the platform's keyring"),
        }
    }
    Ok(())
}

fn ring_on(data: &DataArgs) -> Result<(), KeyringError> {
    keyring::on(&data.dir, &current(data)?, &Platform)?;
    println!("the window opens it with the platform's keyring; keep the passphrase as before");
    Ok(())
}

fn ring_off(data: &DataArgs) -> Result<(), KeyringError> {
    told_of_ring(keyring::off(&data.dir, &current(data)?, &Platform)?);
    println!("nothing but the passphrase opens it");
    Ok(())
}

fn told_of_ring(left: Option<RingFault>) {
    if let Some(fault) = left {
        println!("an item named Guyline may still be in the keyring, and opens nothing: {fault}");
    }
}

fn on(data: &DataArgs) -> Result<Switched, SwitchError> {
    if is_encrypted(&data.dir)? {
        return Err(EncryptionError::Already { dir: data.dir.clone() }.into());
    }
    let passphrase = chosen(data.unlocking.passphrase_file.as_ref(), data)?;
    switch::on(&data.dir, &passphrase, Cost::RECOMMENDED)
}

fn off(data: &DataArgs) -> Result<Switched, KeyringError> {
    let passphrase = current(data)?;
    if keyring::is_on(&data.dir) {
        told_of_ring(keyring::off(&data.dir, &passphrase, &Platform)?);
    }
    Ok(switch::off(&data.dir, &passphrase)?)
}

fn change(args: &ChangeArgs) -> Result<(), SwitchError> {
    let old = current(&args.data)?;
    let new = chosen(args.new_passphrase_file.as_ref(), &args.data)?;
    switch::change(&args.data.dir, &old, &new, Cost::RECOMMENDED)
}

fn current(data: &DataArgs) -> Result<Passphrase, EncryptionError> {
    let is = is_encrypted(&data.dir)?;
    if !is {
        return Err(EncryptionError::NotEncrypted { dir: data.dir.clone() });
    }
    data.unlocking.passphrase(is)?.ok_or_else(|| EncryptionError::Locked { path: data.dir.clone() })
}

/// A new passphrase: from a file, or typed twice alike.
fn chosen(file: Option<&PathBuf>, data: &DataArgs) -> Result<Passphrase, EncryptionError> {
    if let Some(file) = file {
        return Passphrase::from_file(file);
    }
    let typed = |prompt| asked(prompt)?.ok_or(EncryptionError::NoPassphrase);
    let (first, again) = (typed("New passphrase: ")?, typed("The same again: ")?);
    match first.is(&again) {
        true => Ok(first),
        false => Err(EncryptionError::NotAlike { dir: data.dir.clone() }),
    }
}

fn told(done: &Switched, now: &str) {
    let Switched { contents, damaged, left, in_bucket } = done;
    println!("the store and {contents} attachments are {now}");
    if *damaged > 0 {
        println!("{damaged} attachments were damaged and are gone: a merge fetches them anew");
    }
    for path in left {
        println!("left as it is, and none of ours: {}", path.display());
    }
    if let Some(place) = in_bucket {
        println!(
            "still in the bucket {} as it was, under {}/: when the hub has been served and nobody \
             else uses that, take it away with the store's own tools",
            place.bucket, place.prefix
        );
    }
    println!("what the old files held may still lie on the disk where nothing is written yet");
}
