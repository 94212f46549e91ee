//! The keyring of the platform: on Linux the Secret Service on the session's bus.
//!
//! In: an item's name. Out: its secret, carried encrypted over the bus. Never has a person asked to
//! unlock a keyring: a locked one is told of, since the passphrase does as well. On other platforms
//! there is none yet.

use zeroize::Zeroizing;

use super::{Keyring, RingFault};

/// The keyring of whoever is logged in.
#[derive(Clone, Copy, Debug)]
pub struct Platform;

#[cfg(not(target_os = "linux"))]
impl Keyring for Platform {
    fn put(&self, _: &str, _: &str, _: &[u8]) -> Result<(), RingFault> {
        Err(none())
    }

    fn get(&self, _: &str) -> Result<Zeroizing<Vec<u8>>, RingFault> {
        Err(none())
    }

    fn forget(&self, _: &str) -> Result<(), RingFault> {
        Err(none())
    }
}

#[cfg(not(target_os = "linux"))]
fn none() -> RingFault {
    RingFault::Absent { said: "Guyline asks only that of Linux".to_owned() }
}

#[cfg(target_os = "linux")]
mod secret_service {
    use std::collections::HashMap;
    use std::time::Duration;

    use ::secret_service::blocking::{Item, SecretService};
    use ::secret_service::{EncryptionType, Error};

    use super::{Keyring, Platform, RingFault, Zeroizing};

    /// A bus that is slower than this keeps the window closed for no good.
    const ANSWER_MOST: Duration = Duration::from_secs(5);

    impl Keyring for Platform {
        fn put(&self, item: &str, label: &str, secret: &[u8]) -> Result<(), RingFault> {
            let service = service()?;
            let collection = service.get_default_collection().map_err(|error| match error {
                Error::NoResult => RingFault::Absent { said: "it has no default one".to_owned() },
                error => fault(error),
            })?;
            if collection.is_locked().map_err(fault)? {
                return Err(RingFault::Locked);
            }
            let made = collection.create_item(label, named(item), secret, true, "text/plain");
            made.map(drop).map_err(fault)
        }

        fn get(&self, item: &str) -> Result<Zeroizing<Vec<u8>>, RingFault> {
            let service = service()?;
            found(&service, item)?.get_secret().map(Zeroizing::new).map_err(fault)
        }

        fn forget(&self, item: &str) -> Result<(), RingFault> {
            let service = service()?;
            found(&service, item)?.delete().map_err(fault)
        }
    }

    fn service() -> Result<SecretService<'static>, RingFault> {
        let bus = zbus::blocking::connection::Builder::session()
            .map(|builder| builder.method_timeout(ANSWER_MOST))
            .and_then(zbus::blocking::connection::Builder::build)
            .map_err(|error| RingFault::Absent { said: error.to_string() })?;
        SecretService::connect_with_existing(EncryptionType::Dh, bus)
            .map_err(|error| RingFault::Absent { said: error.to_string() })
    }

    fn found<'a>(service: &'a SecretService<'static>, item: &str) -> Result<Item<'a>, RingFault> {
        let mut found = service.search_items(named(item)).map_err(fault)?;
        match (found.unlocked.pop(), found.locked.is_empty()) {
            (Some(item), _) => Ok(item),
            (None, false) => Err(RingFault::Locked),
            (None, true) => Err(lost_or_locked(service)?),
        }
    }

    /// A keyring that is locked since the login may not even tell what it has.
    fn lost_or_locked(service: &SecretService<'static>) -> Result<RingFault, RingFault> {
        match service.get_default_collection() {
            Ok(collection) if collection.is_locked().map_err(fault)? => Ok(RingFault::Locked),
            Ok(_) | Err(Error::NoResult) => Ok(RingFault::Lost),
            Err(error) => Err(fault(error)),
        }
    }

    fn named(item: &str) -> HashMap<&str, &str> {
        HashMap::from([("application", "guyline"), ("item", item)])
    }

    fn fault(error: Error) -> RingFault {
        match error {
            Error::Locked => RingFault::Locked,
            Error::Unavailable => RingFault::Absent { said: error.to_string() },
            error => RingFault::Failed { said: error.to_string() },
        }
    }
}
