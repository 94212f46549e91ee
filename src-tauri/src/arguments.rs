//! What the program was started with: a data directory, and a link that somebody opened.
//!
//! In: arguments and the environment. Out: [`Asked`], or what is wrong with them. A link is only
//! carried on from here; `window` says what it may do.

use std::ffi::OsString;
use std::path::PathBuf;

/// How every link to this app begins; `tauri.conf.json` tells the platform the same.
pub(crate) const SCHEME: &str = "guyline:";

/// What somebody asked for.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Asked {
    /// The data directory that was named.
    pub(crate) data: Option<PathBuf>,
    /// The link that was opened.
    pub(crate) link: Option<String>,
}

/// Why the arguments are none.
#[derive(Debug, thiserror::Error)]
pub(crate) enum WrongArguments {
    #[error("{argument:?} is not an argument of this program; only --data DIR and a link are")]
    Unknown { argument: OsString },
    #[error("--data needs the directory that holds the node, as in --data DIR")]
    DirectoryMissing,
}

impl Asked {
    /// Reads them; for the directory the argument wins over the environment.
    pub(crate) fn read(
        mut arguments: impl Iterator<Item = OsString>,
        environment: Option<OsString>,
    ) -> Result<Self, WrongArguments> {
        let data = environment.filter(|named| !named.is_empty()).map(PathBuf::from);
        let mut asked = Self { data, link: None };
        while let Some(argument) = arguments.next() {
            if argument == "--data" {
                let named = arguments.next().ok_or(WrongArguments::DirectoryMissing)?;
                asked.data = Some(named.into());
                continue;
            }
            match argument.to_str().filter(|text| text.starts_with(SCHEME)) {
                Some(link) => asked.link = Some(link.to_owned()),
                None => return Err(WrongArguments::Unknown { argument }),
            }
        }
        Ok(asked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(arguments: &[&str], environment: Option<&str>) -> Result<Asked, WrongArguments> {
        Asked::read(arguments.iter().map(OsString::from), environment.map(OsString::from))
    }

    #[test]
    fn the_argument_wins_over_the_environment_and_both_may_be_missing() {
        let data = |arguments: &[&str], environment| asked(arguments, environment).unwrap().data;
        let named = |path: &str| Some(PathBuf::from(path));
        assert_eq!(data(&[], None), None);
        assert_eq!(data(&[], Some("")), None, "an empty variable names no directory");
        assert_eq!(data(&[], Some("van")), named("van"));
        assert_eq!(data(&["--data", "summit"], Some("van")), named("summit"));
    }

    #[test]
    fn a_wrong_argument_is_named_and_a_missing_directory_asked_for() {
        let unknown = asked(&["--date", "summit"], None).unwrap_err().to_string();
        assert!(unknown.contains("--date") && unknown.contains("--data DIR"), "{unknown}");
        let missing = asked(&["--data"], None).unwrap_err();
        assert!(matches!(missing, WrongArguments::DirectoryMissing), "{missing}");
        assert!(asked(&["https://elsewhere.example"], None).is_err(), "not a link of this app");
    }

    #[test]
    fn a_link_is_taken_beside_a_directory_and_without_one() {
        let link = "guyline:join?invitation=x";
        assert_eq!(asked(&[link], None).unwrap().link.as_deref(), Some(link));
        let both = asked(&["--data", "van", link], None).unwrap();
        assert_eq!((both.data, both.link.as_deref()), (Some("van".into()), Some(link)));
    }
}
