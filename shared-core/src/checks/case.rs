//! Everything a verdict looks at, put together once: plan, shop, repeater and session, with what
//! stands, what repeats what, the limits that hold, and what has been worked out already.
//!
//! In: the plain views. Out: look-ups. A visit's readings ask for each other many times over (a
//! loss for the reading it is taken from, the guard for the largest power), so each is worked out
//! once. Decides nothing: [`super::judge`] does.

use std::borrow::Cow;
use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

use super::chain_refused::ChainRefused;
use super::judge::{NotJudged, Verdict};
use super::measure::{Measured, NotMeasured, entered, measure};
use super::plan::{Check, Judges, Plan, Reads};
use super::repeats::Alike;
use super::setup::Setup;
use crate::language::Language;
use crate::limits::LimitTable;
use crate::record::{Chain, Phase, Reading, Repeater, Session, Shop};
use crate::units::{Dbm, OutOfRange, Watts};

/// A reading with its id.
pub(crate) type Known<'a> = (&'a str, &'a Reading);

type Kept<'a, T> = RefCell<BTreeMap<&'a str, T>>;

/// Everything a verdict looks at.
#[derive(Debug)]
pub struct Case<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The shop.
    pub shop: &'a Shop,
    /// The repeater the session is about.
    pub repeater: &'a Repeater,
    /// The session.
    pub session: &'a Session,
    /// In which words everything is said.
    pub language: Language,
    standing: BTreeMap<&'a str, &'a Reading>,
    alike: BTreeMap<Alike<'a>, Vec<Known<'a>>>,
    limits: OnceCell<Result<Cow<'static, LimitTable>, NotJudged>>,
    measured: Kept<'a, Result<Rc<Measured>, NotJudged>>,
    verdicts: Kept<'a, Rc<Verdict>>,
}

impl<'a> Case<'a> {
    /// Puts the views together.
    pub fn new(
        plan: &'a Plan,
        shop: &'a Shop,
        repeater: &'a Repeater,
        session: &'a Session,
    ) -> Self {
        let standing = session.standing_readings();
        let mut alike: BTreeMap<Alike<'a>, Vec<Known<'a>>> = BTreeMap::new();
        for (&id, &reading) in &standing {
            alike.entry(Alike::of(reading)).or_default().push((id, reading));
        }
        Self {
            plan,
            shop,
            repeater,
            session,
            language: Language::English,
            standing,
            alike,
            limits: OnceCell::new(),
            measured: RefCell::default(),
            verdicts: RefCell::default(),
        }
    }

    /// The same, said in a language. No verdict depends on it.
    pub fn in_language(self, language: Language) -> Self {
        Self { language, ..self }
    }

    /// The readings that stand, by id.
    pub(crate) fn standing_readings(&self) -> &BTreeMap<&'a str, &'a Reading> {
        &self.standing
    }

    /// The standing readings that were taken as this one was, in the order of their ids.
    pub(crate) fn alike(&self, reading: &Reading) -> &[Known<'a>] {
        // A key borrows from its reading, and a map is asked with keys of its own lifetime.
        let found = self.alike.iter().find(|(alike, _)| **alike == Alike::of(reading));
        found.map_or(&[], |(_, known)| known)
    }

    /// The reading of a check to compare with: of the same phase if there is one, then of the same
    /// instrument, whose error cancels in a difference, then the one with the greatest id.
    pub(crate) fn standing(
        &self,
        check: &str,
        phase: Phase,
        instrument: Option<&str>,
    ) -> Option<Known<'a>> {
        let same = |reading: &Reading| instrument == Some(reading.instrument.as_str());
        self.standing
            .iter()
            .filter(|(_, reading)| reading.check == check)
            .map(|(id, reading)| (*id, *reading))
            .max_by_key(|(id, reading)| (reading.phase == phase, same(reading), *id))
    }

    pub(crate) fn setup(&self, chain: &str) -> Result<Setup<'a>, NotJudged> {
        let found = self.session.chains.get(chain);
        let chain = found.ok_or_else(|| NotJudged::NoSuchChain { id: chain.to_owned() })?;
        self.resolve(chain).map_err(|error| NotMeasured::from(error).into())
    }

    /// A chain with what it names, recorded or only thought of.
    pub(crate) fn resolve<'b>(&self, chain: &'b Chain) -> Result<Setup<'b>, ChainRefused>
    where
        'a: 'b,
    {
        let setup = Setup::resolve(chain, self.shop, self.repeater)?;
        Ok(setup.in_language(self.language))
    }

    pub(crate) fn check(&self, id: &str) -> Result<&'a Check, NotJudged> {
        self.plan.find(id).ok_or_else(|| NotJudged::NoSuchCheck { id: id.to_owned() })
    }

    /// The limits of the repeater's region, the shop's own rows first.
    pub(crate) fn limits(&self) -> Result<&LimitTable, NotJudged> {
        let region = &self.repeater.region;
        let made = self.limits.get_or_init(|| {
            let shipped = LimitTable::shipped(region)?;
            Ok(match self.shop.limit_rows.get(region) {
                None => Cow::Borrowed(shipped),
                Some(rows) => Cow::Owned(shipped.with_shop_rows(rows)?),
            })
        });
        made.as_ref().map(Cow::as_ref).map_err(Clone::clone)
    }

    /// What a reading means at its plane.
    pub(crate) fn measured(
        &self,
        id: &str,
        check: &Check,
        reading: &Reading,
    ) -> Result<Rc<Measured>, NotJudged> {
        let work = || {
            let setup = self.setup(&reading.chain)?;
            Ok(Rc::new(measure(self, id, check, reading, &setup)?))
        };
        self.once(&self.measured, id, reading, work)
    }

    /// A verdict that was given already, or `work`'s.
    pub(crate) fn verdict(
        &self,
        id: &str,
        reading: &Reading,
        work: impl FnOnce() -> Rc<Verdict>,
    ) -> Rc<Verdict> {
        self.once(&self.verdicts, id, reading, work)
    }

    /// Works out once what repeats have in common. A reading that is only thought of is not kept.
    fn once<T: Clone>(
        &self,
        kept: &Kept<'a, T>,
        id: &str,
        reading: &Reading,
        work: impl FnOnce() -> T,
    ) -> T {
        let Some((own, recorded)) = self.session.readings.get_key_value(id) else { return work() };
        if !std::ptr::eq(recorded, reading) {
            return work();
        }
        let first = match self.repeats(own, reading) {
            Some(repeats) => repeats[0].0,
            None => own,
        };
        if let Some(known) = kept.borrow().get(first) {
            return known.clone();
        }
        let made = work();
        kept.borrow_mut().insert(first, made.clone());
        made
    }

    /// The most power the transmitter is known to make: its rating, or more where more was read.
    pub(crate) fn power_w(&self) -> Result<Watts, OutOfRange> {
        let rated = Watts::new(self.repeater.ratings.power_w)?;
        let of_power = |id: &str| {
            let check = self.plan.find(id)?;
            (check.reads == Reads::Power && check.judges == Judges::Itself).then_some(check)
        };
        let alone = |(id, reading): (&&str, &&Reading)| {
            let check = of_power(&reading.check)?;
            let measured = self.measured(id, check, reading).ok()?;
            // The mean of repeats is judged; the guard goes by the largest single one.
            let own = entered(check, self.repeater, reading).ok()?;
            Some(measured.value + own - measured.entered)
        };
        let most = self.standing.iter().filter_map(alone).fold(rated.level().dbm(), f64::max);
        Ok(Watts::from_level(Dbm::new(most)?))
    }
}
