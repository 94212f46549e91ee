//! How a served node is set up: flags, then the environment, then a file, then what is usual.
//!
//! In: the command line, and a TOML file where one is named. Out: [`Settings`], or what is wrong
//! and in which line and column. Opens nothing and makes nothing. No secret is ever a setting: keys
//! stand in files of their own beside the store.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::{Deserialize, Serialize};

use crate::attachments::bucket::{BucketPlace, WrongPlace};

/// What the command line and the environment ask.
#[derive(Debug, Default, clap::Args)]
pub(super) struct ServeArgs {
    /// The folder of the node's store; it is made where there is none
    #[arg(long, env = "GUYLINE_DATA", value_name = "DIR")]
    data: Option<PathBuf>,
    /// A file that holds the passphrase of an encrypted store
    #[arg(long, env = "GUYLINE_PASSPHRASE_FILE", value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
    /// A file with these settings, in TOML; a flag and the environment go before it
    #[arg(long, env = "GUYLINE_CONFIG", value_name = "FILE")]
    config: Option<PathBuf>,
    /// Say which settings would count, and end
    #[arg(long)]
    pub(super) check_config: bool,
    /// Where to listen, on this machine only; port 0 takes any that is free
    #[arg(long, env = "GUYLINE_LISTEN", value_name = "ADDRESS")]
    listen: Option<String>,
    /// Where to share with the shop's other devices, as 0.0.0.0:4771; without it, nowhere
    #[arg(long, env = "GUYLINE_SHARE", value_name = "ADDRESS")]
    share: Option<SocketAddr>,
    /// Where to answer /health and /metrics, on this machine only; without it, nowhere
    #[arg(long, env = "GUYLINE_METRICS", value_name = "ADDRESS")]
    metrics: Option<SocketAddr>,
    /// Where to serve the screens to browsers that were let in, over TLS, as 0.0.0.0:4772
    #[arg(long, env = "GUYLINE_SCREENS", value_name = "ADDRESS")]
    screens: Option<SocketAddr>,
    /// A name or address browsers reach it by; may be given again. Without one, its own address
    #[arg(long, env = "GUYLINE_SCREENS_HOST", value_name = "NAME", value_delimiter = ',')]
    screens_host: Vec<String>,
    /// The certificate browsers are shown, in PEM; without one the hub makes its own
    #[arg(long, env = "GUYLINE_SCREENS_CERTIFICATE", value_name = "FILE")]
    screens_certificate: Option<PathBuf>,
    /// The certificate's private key, in PEM
    #[arg(long, env = "GUYLINE_SCREENS_KEY", value_name = "FILE")]
    screens_key: Option<PathBuf>,
    /// Keep attachments in this bucket of an S3-compatible store rather than in the folder; the
    /// access keys are taken from GUYLINE_BUCKET_KEY_ID and GUYLINE_BUCKET_SECRET
    #[arg(long, env = "GUYLINE_BUCKET", value_name = "NAME")]
    bucket: Option<String>,
    /// Where the store with the bucket answers, as https://s3.example
    #[arg(long, env = "GUYLINE_BUCKET_ENDPOINT", value_name = "URL")]
    bucket_endpoint: Option<String>,
    /// The store's region; us-east-1 where none is named
    #[arg(long, env = "GUYLINE_BUCKET_REGION", value_name = "NAME")]
    bucket_region: Option<String>,
    /// What stands before the names in the bucket; guyline where nothing is named
    #[arg(long, env = "GUYLINE_BUCKET_PREFIX", value_name = "PREFIX")]
    bucket_prefix: Option<String>,
    /// How much to write to standard error
    #[arg(long, env = "GUYLINE_LOG", value_name = "LEVEL")]
    log: Option<LogLevel>,
    /// How to write it
    #[arg(long, env = "GUYLINE_LOG_FORM", value_name = "FORM")]
    log_form: Option<LogForm>,
    /// Merge only when asked: neither call other devices nor listen for them
    #[arg(long)]
    no_background: bool,
}

/// How much is written to standard error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum, Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum LogLevel {
    /// What needs somebody to act.
    Error,
    /// That, and what went wrong and is tried again.
    #[default]
    Warn,
    /// That, and what was begun, moved and ended.
    Info,
    /// That, and each request with its status.
    Debug,
}

/// How it is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum, Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum LogForm {
    /// For people.
    #[default]
    Text,
    /// One JSON object a line.
    Json,
}

/// The file's own words.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct FileSettings {
    data: Option<PathBuf>,
    passphrase_file: Option<PathBuf>,
    listen: Option<String>,
    share: Option<SocketAddr>,
    metrics: Option<SocketAddr>,
    screens: Option<SocketAddr>,
    #[serde(default)]
    screens_host: Vec<String>,
    screens_certificate: Option<PathBuf>,
    screens_key: Option<PathBuf>,
    bucket: Option<String>,
    bucket_endpoint: Option<String>,
    bucket_region: Option<String>,
    bucket_prefix: Option<String>,
    log: Option<LogLevel>,
    log_form: Option<LogForm>,
    background: Option<bool>,
}

/// What counts in the end. As text it is a file of settings.
#[derive(Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct Settings {
    pub(super) data: PathBuf,
    pub(super) passphrase_file: Option<PathBuf>,
    pub(super) listen: String,
    pub(super) share: Option<SocketAddr>,
    pub(super) metrics: Option<SocketAddr>,
    pub(super) screens: Option<SocketAddr>,
    pub(super) screens_host: Vec<String>,
    pub(super) screens_certificate: Option<PathBuf>,
    pub(super) screens_key: Option<PathBuf>,
    #[serde(flatten)]
    pub(super) bucket: Option<BucketSettings>,
    pub(super) log: LogLevel,
    pub(super) log_form: LogForm,
    pub(super) background: bool,
}

/// The bucket attachments are kept in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub(super) struct BucketSettings {
    bucket: String,
    bucket_endpoint: String,
    bucket_region: String,
    bucket_prefix: String,
}

impl BucketSettings {
    pub(super) fn place(&self) -> BucketPlace {
        BucketPlace {
            endpoint: self.bucket_endpoint.clone(),
            bucket: self.bucket.clone(),
            region: self.bucket_region.clone(),
            prefix: self.bucket_prefix.clone(),
        }
    }
}

/// Why the settings are of no use.
#[derive(Debug, thiserror::Error)]
pub(super) enum WrongSettings {
    #[error("{path} cannot be read: {source}", path = path.display())]
    File { path: PathBuf, source: std::io::Error },
    #[error("{path}: {source}", path = path.display())]
    Text { path: PathBuf, source: Box<toml::de::Error> },
    #[error("nothing says where the node's store is")]
    NoData,
    #[error("{address} can be reached from other machines; health and metrics are for this one")]
    MetricsAbroad { address: SocketAddr },
    #[error("a certificate without its key, or a key without its certificate")]
    HalfACertificate,
    #[error("{host:?} is no name or address of a host")]
    Host { host: String },
    #[error("a bucket without its endpoint, or an endpoint, region or prefix without a bucket")]
    HalfABucket,
    #[error(
        "its attachments lie in the bucket {} at {}, under {}/",
        .noted.bucket, .noted.endpoint, .noted.prefix
    )]
    Elsewhere { noted: Box<BucketPlace> },
    #[error(transparent)]
    Bucket(#[from] WrongPlace),
}

impl WrongSettings {
    pub(super) fn help(&self) -> &'static str {
        match self {
            Self::File { .. } => "check the file's name and who may read it",
            Self::Text { .. } => {
                "the settings are data, passphrase-file, listen, share, metrics, screens, \
                 screens-host, screens-certificate, screens-key, bucket, bucket-endpoint, \
                 bucket-region, bucket-prefix, log, log-form and background"
            }
            Self::NoData => "name its folder with --data, GUYLINE_DATA, or data in the file",
            Self::HalfACertificate => {
                "name both with --screens-certificate and --screens-key, or neither"
            }
            Self::HalfABucket => {
                "name both with --bucket and --bucket-endpoint, or nothing of a bucket"
            }
            Self::Elsewhere { .. } => {
                "name that bucket; to bring them elsewhere, make a backup, restore it into another \
                 folder and serve that"
            }
            Self::Bucket(wrong) => wrong.help(),
            Self::Host { .. } => "name it as hub.example, 192.0.2.7 or hub.example:443",
            Self::MetricsAbroad { .. } => "use 127.0.0.1, and a collector on this machine",
        }
    }
}

impl ServeArgs {
    /// Puts together what counts.
    pub(super) fn settings(&self) -> Result<Settings, WrongSettings> {
        let file = self.config.as_deref().map(read).transpose()?.unwrap_or_default();
        let bucket = self.bucket(&file)?;
        let metrics = self.metrics.or(file.metrics);
        if let Some(address) = metrics.filter(|address| !address.ip().is_loopback()) {
            return Err(WrongSettings::MetricsAbroad { address });
        }
        let screens_certificate = self.screens_certificate.clone().or(file.screens_certificate);
        let screens_key = self.screens_key.clone().or(file.screens_key);
        if screens_certificate.is_some() != screens_key.is_some() {
            return Err(WrongSettings::HalfACertificate);
        }
        let typed = (!self.screens_host.is_empty()).then(|| self.screens_host.clone());
        let screens_host = typed.unwrap_or(file.screens_host);
        if let Some(host) = screens_host.iter().find(|host| !is_host(host)) {
            return Err(WrongSettings::Host { host: host.clone() });
        }
        Ok(Settings {
            data: self.data.clone().or(file.data).ok_or(WrongSettings::NoData)?,
            passphrase_file: self.passphrase_file.clone().or(file.passphrase_file),
            listen: self.listen.clone().or(file.listen).unwrap_or("127.0.0.1:0".to_owned()),
            share: self.share.or(file.share),
            metrics,
            screens: self.screens.or(file.screens),
            screens_host,
            screens_certificate,
            screens_key,
            bucket,
            log: self.log.or(file.log).unwrap_or_default(),
            log_form: self.log_form.or(file.log_form).unwrap_or_default(),
            background: !self.no_background && file.background.unwrap_or(true),
        })
    }
}

impl ServeArgs {
    fn bucket(&self, file: &FileSettings) -> Result<Option<BucketSettings>, WrongSettings> {
        let either = |typed: &Option<String>, kept: &Option<String>| {
            typed.clone().or_else(|| kept.clone()).filter(|value| !value.is_empty())
        };
        let bucket = either(&self.bucket, &file.bucket);
        let bucket_endpoint = either(&self.bucket_endpoint, &file.bucket_endpoint);
        let bucket_region = either(&self.bucket_region, &file.bucket_region);
        let bucket_prefix = either(&self.bucket_prefix, &file.bucket_prefix);
        let (Some(bucket), Some(bucket_endpoint)) = (&bucket, &bucket_endpoint) else {
            let more = [&bucket, &bucket_endpoint, &bucket_region, &bucket_prefix];
            return match more.into_iter().all(Option::is_none) {
                true => Ok(None),
                false => Err(WrongSettings::HalfABucket),
            };
        };
        let settings = BucketSettings {
            bucket: bucket.clone(),
            bucket_endpoint: bucket_endpoint.clone(),
            bucket_region: bucket_region.unwrap_or("us-east-1".to_owned()),
            bucket_prefix: bucket_prefix.unwrap_or("guyline".to_owned()),
        };
        settings.place().checked()?;
        Ok(Some(settings))
    }
}

/// Letters, digits and what stands between them in names and addresses.
fn is_host(host: &str) -> bool {
    let known = |byte: u8| byte.is_ascii_alphanumeric() || b"-.:[]".contains(&byte);
    !host.is_empty() && host.len() <= 255 && host.bytes().all(known)
}

fn read(path: &Path) -> Result<FileSettings, WrongSettings> {
    let text = std::fs::read_to_string(path)
        .map_err(|source| WrongSettings::File { path: path.to_owned(), source })?;
    toml::from_str(&text)
        .map_err(|source| WrongSettings::Text { path: path.to_owned(), source: Box::new(source) })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from(text: &str, args: ServeArgs) -> Result<Settings, WrongSettings> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("guyline.toml");
        std::fs::write(&path, text).unwrap();
        ServeArgs { config: Some(path), ..args }.settings()
    }

    #[test]
    fn what_was_typed_goes_before_the_file_and_the_file_before_what_is_usual() {
        let text = "data = '/srv/guyline'\nshare = '192.0.2.7:4771'\nlog = 'warn'\n\
                    screens = '0.0.0.0:4772'\nscreens-host = ['hub.example']\n\
                    bucket = 'photographs'\nbucket-endpoint = 'https://s3.example'\n";
        let typed = ServeArgs { log: Some(LogLevel::Debug), ..ServeArgs::default() };
        let settings = from(text, typed).unwrap();
        assert_eq!(settings.log, LogLevel::Debug);
        assert_eq!(settings.data, Path::new("/srv/guyline"));
        assert_eq!(settings.share, Some("192.0.2.7:4771".parse().unwrap()));
        assert_eq!((settings.listen.as_str(), settings.background), ("127.0.0.1:0", true));
        let bucket = settings.bucket.as_ref().map(BucketSettings::place);
        assert_eq!(bucket.map(|place| place.prefix), Some("guyline".to_owned()));
        let again = from(&toml::to_string(&settings).unwrap(), ServeArgs::default()).unwrap();
        assert_eq!(again, settings, "what is shown is a file of settings");
    }

    #[test]
    fn a_wrong_file_is_told_with_line_and_column() {
        for (text, place) in [
            ("data = 'x'\nlisten = 4770\n", "line 2, column 10"),
            ("data = 'x'\n\nhsare = '192.0.2.7:4771'\n", "line 3, column 1"),
            ("data = 'x'\nshare = 'hub'\n", "line 2, column 9"),
            ("data = 'x'\nlog = 'loud'\n", "line 2, column 7"),
            ("data = \n", "line 1, column 8"),
        ] {
            let told = from(text, ServeArgs::default()).unwrap_err().to_string();
            assert!(told.contains(place), "{text:?} should say {place}: {told}");
        }
        assert!(matches!(from("", ServeArgs::default()), Err(WrongSettings::NoData)));
        let half = from("data = 'x'\nscreens-key = 'key.pem'\n", ServeArgs::default());
        assert!(matches!(half, Err(WrongSettings::HalfACertificate)));
        let link = from("data = 'x'\nscreens-host = ['https://hub/']\n", ServeArgs::default());
        assert!(matches!(link, Err(WrongSettings::Host { .. })));
        let half = from("data = 'x'\nbucket = 'photographs'\n", ServeArgs::default());
        assert!(matches!(half, Err(WrongSettings::HalfABucket)));
        let open = "data = 'x'\nbucket = 'photographs'\nbucket-endpoint = 'http://s3.example'\n";
        let open = from(open, ServeArgs::default());
        assert!(matches!(open, Err(WrongSettings::Bucket(WrongPlace::InTheOpen { .. }))));
        let abroad = from("data = 'x'\nmetrics = '0.0.0.0:9470'\n", ServeArgs::default());
        assert!(matches!(abroad, Err(WrongSettings::MetricsAbroad { .. })));
    }
}
