//! For tests: the visit kept as documents of schema 1, as a sheet to judge.

use super::Sheet;
use crate::record::schema_1::{SESSION, SHOP, SITE, open};

pub(crate) fn sheet() -> Sheet {
    Sheet {
        shop: open(SHOP, 1).shop().unwrap().clone(),
        site: open(SITE, 1).site().unwrap().clone(),
        session: open(SESSION, 1).session().unwrap().clone(),
    }
}
