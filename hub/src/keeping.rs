//! What this device keeps: everything, or the papers and the visits to the sites that are wanted.
//!
//! In: a person's choice, and what a person does here. Out: how much this device asks others for.
//! The list of wanted sites only grows by itself: a site is wanted once somebody opened it here,
//! worked on a visit to it here, said so, or the shop's papers send to it whoever holds the device.
//! The office and a hub keep everything: the shop must have one place that does. Asks nobody
//! itself, and takes nothing away: what is here stays when less is wanted.

use std::collections::BTreeSet;
use std::sync::atomic::Ordering;

use guyline_core::record::{DocumentId, DocumentKind};
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::Node;
use crate::desk::{Code, Refusal};
use crate::documents::{Documents, NodeError};
use crate::identity::Role;
use crate::log::{Place, SITES_MAX, Scope};

/// The setting that says it.
const KEEPING: &str = "keeping";

/// What this device keeps.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keeping {
    /// Whether only visits to wanted sites are kept.
    pub only_wanted: bool,
    /// The wanted sites. They stay known while everything is kept.
    pub sites: BTreeSet<DocumentId>,
}

impl Keeping {
    /// Adds a site. More than can be asked for one by one are everything.
    fn want(&mut self, site: DocumentId) {
        self.sites.insert(site);
        if self.sites.len() > SITES_MAX {
            *self = Self::default();
        }
    }
}

/// Why a device keeps everything and may not do otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum KeepsAll {
    /// It belongs to the office.
    Office,
    /// It is the shop's hub.
    Hub,
}

impl KeepsAll {
    /// The same in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Office => "this is a device of the office, which keeps everything",
            Self::Hub => "this is the shop's hub, which keeps everything",
        }
    }
}

impl Node {
    /// The same node, which others merge with as the shop's hub: it keeps everything.
    #[must_use]
    pub fn as_hub(self) -> Self {
        Self { is_hub: true, ..self }
    }

    /// What this device keeps; everything where it may not keep less.
    pub fn keeping(&self) -> Result<Keeping, NodeError> {
        let keeping = read(&self.lock_as_it_is())?;
        match keeping.only_wanted && self.keeps_all_since().is_some() {
            true => Ok(Keeping { only_wanted: false, ..keeping }),
            false => Ok(keeping),
        }
    }

    /// Why this device keeps everything and may not do otherwise, where that is so.
    pub(crate) fn keeps_all_since(&self) -> Option<KeepsAll> {
        match self.own_role() {
            Some(Role::Office) => Some(KeepsAll::Office),
            _ if self.is_hub || self.is_one_of_several() => Some(KeepsAll::Hub),
            _ => None,
        }
    }

    /// Keeps only visits to wanted sites from now on, or everything again. Nothing goes; what is
    /// lacking comes with the next merges.
    pub fn keep_only_wanted(&self, only: bool) -> Result<(), Refusal> {
        if let Some(why) = self.keeps_all_since().filter(|_| only) {
            let help = "choose it on a crew's device: somebody must hold all of the shop's work";
            return Err(Refusal::new(Code::Forbidden, why.words(), help).at("only"));
        }
        self.change_keeping(|keeping| keeping.only_wanted = only)?;
        self.background.edited();
        Ok(())
    }

    /// Keeps the visits to a site from now on.
    pub fn want_site(&self, site: DocumentId) -> Result<(), NodeError> {
        if self.change_keeping(|keeping| keeping.want(site))? {
            self.background.edited();
        }
        Ok(())
    }

    /// The same where this device keeps only what is wanted, and not by a browser's look.
    pub(crate) fn site_is_opened(&self, site: DocumentId) -> Result<(), NodeError> {
        match self.visitor().is_none() && self.keeps_a_part()? {
            true => self.want_site(site),
            false => Ok(()),
        }
    }

    /// The same for the site of a visit.
    pub(crate) fn visit_is_opened(&self, visit: DocumentId) -> Result<(), NodeError> {
        if !self.keeps_a_part()? {
            return Ok(());
        }
        let place = {
            let mut documents = self.lock();
            documents.kind_of(visit)?;
            documents.place_of(visit)
        };
        match place {
            Some(Place::Visit(site)) => self.site_is_opened(site),
            _ => Ok(()),
        }
    }

    /// How much this device asks others for now.
    pub fn scope(&self) -> Result<Scope, NodeError> {
        if !self.keeps_a_part()? {
            return Ok(Scope::All);
        }
        let (keeping, sent_to) = (self.keeping()?, self.sent_to()?);
        if sent_to.is_subset(&keeping.sites) {
            return Ok(Scope::Sites(keeping.sites));
        }
        // They stay wanted after the papers send somebody elsewhere.
        self.change_keeping(|keeping| sent_to.into_iter().for_each(|site| keeping.want(site)))?;
        let keeping = self.keeping()?;
        Ok(if keeping.only_wanted { Scope::Sites(keeping.sites) } else { Scope::All })
    }

    /// The sites that the shop's papers send whoever holds this device to.
    pub(crate) fn sent_to(&self) -> Result<BTreeSet<DocumentId>, NodeError> {
        let mut documents = self.lock();
        let Some(person) = documents.store.setting(crate::PERSON)? else {
            return Ok(BTreeSet::new());
        };
        let ids: Vec<DocumentId> = documents.store.heads().keys().copied().collect();
        for id in ids {
            // What cannot be read sends nobody; whoever opens it is told why.
            if !matches!(documents.kind_of(id), Ok(DocumentKind::Shop)) {
                continue;
            }
            return documents.look(id, |document| {
                let shop = document.shop().ok();
                let sites = shop.and_then(|shop| shop.people.get(&person)?.sites.as_ref());
                sites.into_iter().flatten().filter_map(|site| site.parse().ok()).collect()
            });
        }
        Ok(BTreeSet::new())
    }

    /// Changes what this device keeps. Gives whether that is another now.
    fn change_keeping(&self, change: impl FnOnce(&mut Keeping)) -> Result<bool, NodeError> {
        let mut documents = self.lock_as_it_is();
        let before = read(&documents)?;
        let mut keeping = before.clone();
        change(&mut keeping);
        if keeping == before {
            return Ok(false);
        }
        let text = serde_json::to_string(&keeping).expect("a truth and ids");
        documents.store.set_setting(KEEPING, &text)?;
        self.learn_keeping(&documents);
        Ok(true)
    }

    /// Whether only what is wanted is kept. Answered from memory where it is not, as nearly always.
    fn keeps_a_part(&self) -> Result<bool, NodeError> {
        Ok(self.may_keep_a_part.load(Ordering::Acquire) && self.keeping()?.only_wanted)
    }

    /// Takes anew what is kept in memory of the setting. One that cannot be read is read again by
    /// whoever needs it, and told of.
    pub(crate) fn learn_keeping(&self, documents: &Documents) {
        let part = read(documents).map_or(true, |keeping| keeping.only_wanted);
        self.may_keep_a_part.store(part, Ordering::Release);
    }
}

fn read(documents: &Documents) -> Result<Keeping, NodeError> {
    let Some(text) = documents.store.setting(KEEPING)? else { return Ok(Keeping::default()) };
    serde_json::from_str(&text)
        .map_err(|error| NodeError::Setting { key: KEEPING, found: error.to_string() })
}
