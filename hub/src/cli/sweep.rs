//! `guyline sweep convert IN --out OUT`: a sweep's Touchstone file written anew.
//!
//! In: a file of any version, with S, Y, Z, H or G parameters. Out: its scattering parameters in
//! the version that the new file's name asks for (`.s2p` is 1.1 and says the ports, `.ts` is 2.0),
//! the same network in other numbers. The file that came in is never touched. Needs no store.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::ValueEnum;
use guyline_core::rf::touchstone::{
    BYTES_MAX, FrequencyUnit, NotWritten, TouchstoneRefused, TouchstoneVersion, ValueFormat,
    Writing, ports_of_name, read, write,
};

use super::{could_not, report};

/// What the command line asks.
#[derive(Debug, clap::Args)]
pub(super) struct SweepArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Writes the same network in another version, unit or number format
    Convert(ConvertArgs),
}

#[derive(Debug, clap::Args)]
struct ConvertArgs {
    /// The Touchstone file to read
    file: PathBuf,
    /// The file to write; it must not be there yet. `.s1p` to `.s8p` is version 1.1, `.ts` is 2.0
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// The unit of its frequencies
    #[arg(long, value_enum, default_value = "hz")]
    unit: UnitArg,
    /// Real and imaginary parts (ri), magnitude and degrees (ma), decibels and degrees (db)
    #[arg(long, value_enum, default_value = "ri")]
    format: FormatArg,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum UnitArg {
    Hz,
    Khz,
    Mhz,
    Ghz,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum FormatArg {
    Ri,
    Ma,
    Db,
}

/// Why nothing was written, apart from the disk's own reasons.
#[derive(Debug, thiserror::Error)]
enum NotConverted {
    #[error("{file}: {source}")]
    NoSweep { file: String, source: TouchstoneRefused },
    #[error("{out} says no version: end its name in .s{ports}p for 1.1, or in .ts for 2.0")]
    NoVersion { out: String, ports: usize },
    #[error("{out} says {said} ports, the sweep has {ports}")]
    Ports { out: String, said: usize, ports: usize },
    #[error(transparent)]
    NotWritten(#[from] NotWritten),
}

pub(super) fn run(args: &SweepArgs) -> ExitCode {
    let What::Convert(args) = &args.what;
    let bytes = match std::fs::read(&args.file) {
        Ok(bytes) => bytes,
        Err(error) => {
            let what = format!("read {}", args.file.display());
            return could_not(&what, &error, "name a file that can be read");
        }
    };
    let text = match converted(args, &bytes) {
        Ok(text) => text,
        Err(error) => {
            could_not("convert the sweep", &error, "`guyline sweep convert --help` has the forms");
            return ExitCode::from(2);
        }
    };
    if let Err(error) = report::write(&args.out, text.as_bytes()) {
        let help = "name a file that is not there yet, in a folder you may write in";
        return could_not(&format!("write {}", args.out.display()), &error, help);
    }
    println!("{}: {} bytes", args.out.display(), text.len());
    ExitCode::SUCCESS
}

fn converted(args: &ConvertArgs, bytes: &[u8]) -> Result<String, NotConverted> {
    let no_sweep = |source| NotConverted::NoSweep { file: args.file.display().to_string(), source };
    if bytes.len() > BYTES_MAX {
        return Err(no_sweep(TouchstoneRefused::TooLarge { bytes: bytes.len() }));
    }
    let file = read(bytes, ports_of(&args.file)).map_err(no_sweep)?;
    let ports = file.sweep.ports();
    let out = args.out.display().to_string();
    let version = match (ports_of(&args.out), extension(&args.out).as_deref()) {
        (Some(said), _) if said != ports => return Err(NotConverted::Ports { out, said, ports }),
        (Some(_), _) => TouchstoneVersion::V1,
        (None, Some("ts")) => TouchstoneVersion::V2,
        (None, _) => return Err(NotConverted::NoVersion { out, ports }),
    };
    let unit = match args.unit {
        UnitArg::Hz => FrequencyUnit::Hz,
        UnitArg::Khz => FrequencyUnit::KHz,
        UnitArg::Mhz => FrequencyUnit::MHz,
        UnitArg::Ghz => FrequencyUnit::GHz,
    };
    let format = match args.format {
        FormatArg::Ri => ValueFormat::RealImaginary,
        FormatArg::Ma => ValueFormat::MagnitudeDegrees,
        FormatArg::Db => ValueFormat::DecibelDegrees,
    };
    Ok(write(&file, Writing { version, unit, format })?)
}

fn extension(file: &Path) -> Option<String> {
    Some(file.extension()?.to_str()?.to_ascii_lowercase())
}

fn ports_of(file: &Path) -> Option<usize> {
    ports_of_name(file.file_name()?.to_str()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(file: &str, out: &str, format: FormatArg) -> Result<String, String> {
        let (file, out) = (PathBuf::from(file), PathBuf::from(out));
        let args = ConvertArgs { file, out, unit: UnitArg::Mhz, format };
        let text = "# GHz S MA R 50\n0.155 0.5 90 0.9 0 0.1 180 0 0\n";
        converted(&args, text.as_bytes()).map_err(|error| error.to_string())
    }

    #[test]
    fn the_new_files_name_says_the_version() {
        let old = asked("d.s2p", "e.S2P", FormatArg::Ma).unwrap();
        assert_eq!(old, "# MHz S MA R 50\n155 0.5 90 0.9 0 0.1 180 0 0\n");
        let new = asked("d.s2p", "e.ts", FormatArg::Ri).unwrap();
        assert!(new.starts_with("[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 2\n"), "{new}");
    }

    #[test]
    fn what_cannot_be_written_so_is_refused_with_what_to_do() {
        let refused = |out: &str, format| asked("d.s2p", out, format).unwrap_err();
        assert!(refused("e.txt", FormatArg::Ri).contains("end its name in .s2p for 1.1"));
        assert!(refused("e.s3p", FormatArg::Ri).contains("says 3 ports, the sweep has 2"));
        assert!(refused("e.ts", FormatArg::Db).contains("take RI or MA"), "S22 is nothing");
        let other = asked("d.s4p", "e.s4p", FormatArg::Ri).unwrap_err();
        assert!(other.starts_with("d.s4p: "), "{other}");
    }
}
