//! A shop's plan as a text file, out and in.
//!
//! In: TOML text. Out: what it changes on the shipped plan, or every reason why not, each with the
//! line and the column where it stands. What is written out reads back as the same.

use std::collections::BTreeMap;
use std::fmt::{self, Write as _};
use std::ops::Range;

use serde::{Deserialize, Serialize};
use toml::de::{DeTable, DeValue};
use ts_rs::TS;

use super::plan::{Check, LimitRule, Plan, ShopCaution, Stage};
use super::plan_shop::plan_problems;
use crate::record::{PlanChanges, Shop};

/// Something wrong in a plan's text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct Misplaced {
    /// The line, from 1.
    pub line: usize,
    /// The column, from 1, in characters.
    pub column: usize,
    /// What is wrong, and what would be right.
    pub what: String,
}

impl fmt::Display for Misplaced {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}", self.line, self.column, self.what)
    }
}

/// The file's shape.
#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct File {
    off: Vec<String>,
    limit: BTreeMap<String, LimitRule>,
    check: Vec<Check>,
    caution: Vec<Row>,
}

/// A caution with its id.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    id: String,
    stage: Stage,
    keyed: bool,
    title: String,
    text: String,
}

/// The shop's plan as a text that [`read`] takes.
pub fn write(shop: &Shop) -> String {
    let off = shop.checks_off.iter().filter(|(_, off)| **off).map(|(id, _)| id.clone());
    let cautions = shop.added_cautions.iter().filter_map(|(id, caution)| {
        let ShopCaution { stage, keyed, title, text } = caution.clone()?;
        Some(Row { id: id.clone(), stage, keyed, title, text })
    });
    let limits = shop.check_limits.iter();
    let file = File {
        off: off.collect(),
        limit: limits.filter_map(|(id, rule)| Some((id.clone(), rule.clone()?))).collect(),
        check: shop.added_checks.values().flatten().cloned().collect(),
        caution: cautions.collect(),
    };
    let mut text = String::from(
        "# What this shop changes on the shipped plan, and adds to it. The shipped checks:\n#\n",
    );
    for check in &Plan::standard().checks {
        writeln!(text, "#   {:<30} {}", check.id, check.title).expect("a String takes all text");
    }
    text.push_str(
        "#\n# off          shipped checks the shop does not make\n\
         # [limit.\"ID\"]  a limit in place of the plan's; it must name its source\n\
         # [[check]]    a check the shop adds\n\
         # [[caution]]  a caution the shop adds; the shipped ones stay as they are\n\n",
    );
    text.push_str(&toml::to_string(&file).expect("text keys and plain values"));
    text
}

/// What a plan's text changes on the shipped plan, for this shop.
pub fn read(shop: &Shop, text: &str) -> Result<PlanChanges, Vec<Misplaced>> {
    let place = |span: Option<Range<usize>>, what: String| {
        let (line, column) = line_and_column(text, span.map_or(0, |span| span.start));
        Misplaced { line, column, what }
    };
    let tree = DeTable::parse(text)
        .map_err(|error| vec![place(error.span(), error.message().to_owned())])?;
    let file: File = toml::from_str(text)
        .map_err(|error| vec![place(error.span(), error.message().to_owned())])?;
    let mut wrong: Vec<Misplaced> = twice(&file)
        .into_iter()
        .map(|(list, index)| {
            let span = span_of(tree.get_ref(), &[list, &index.to_string(), "id"]);
            place(span, "this id stands above already".to_owned())
        })
        .collect();
    let order = Order::of(&file);
    let plan = PlanChanges {
        off: file.off,
        limits: file.limit,
        checks: file.check.into_iter().map(|check| (check.id.clone(), check)).collect(),
        cautions: file
            .caution
            .into_iter()
            .map(|Row { id, stage, keyed, title, text }| {
                (id, ShopCaution { stage, keyed, title, text })
            })
            .collect(),
    };
    let mut meant = shop.clone();
    plan.clone().put(&mut meant);
    wrong.extend(plan_problems(&meant).into_iter().map(|problem| {
        let path = order.in_file(&problem.at);
        let path: Vec<&str> = path.iter().map(String::as_str).collect();
        place(span_of(tree.get_ref(), &path), problem.to_string())
    }));
    wrong.sort_by_key(|wrong| (wrong.line, wrong.column));
    wrong.dedup();
    if wrong.is_empty() { Ok(plan) } else { Err(wrong) }
}

/// Ids that stand twice, by list and place.
fn twice(file: &File) -> Vec<(&'static str, usize)> {
    let mut found = Vec::new();
    let checks: Vec<&str> = file.check.iter().map(|check| check.id.as_str()).collect();
    let cautions: Vec<&str> = file.caution.iter().map(|row| row.id.as_str()).collect();
    for (list, ids) in [("check", checks), ("caution", cautions)] {
        for (index, id) in ids.iter().enumerate() {
            if ids[..index].contains(id) {
                found.push((list, index));
            }
        }
    }
    found
}

/// The ids of a file in their order: where a place of the shop document stands in the file.
struct Order {
    off: Vec<String>,
    limits: Vec<String>,
    checks: Vec<String>,
    cautions: Vec<String>,
}

impl Order {
    fn of(file: &File) -> Self {
        Self {
            off: file.off.clone(),
            limits: file.limit.keys().cloned().collect(),
            checks: file.check.iter().map(|check| check.id.clone()).collect(),
            cautions: file.caution.iter().map(|row| row.id.clone()).collect(),
        }
    }

    /// From `added_checks.ID.limit.of` to `check`, the index, `limit`, `of`.
    fn in_file(&self, at: &str) -> Vec<String> {
        let lists = [
            ("checks_off.", "off", &self.off),
            ("check_limits.", "limit", &self.limits),
            ("added_checks.", "check", &self.checks),
            ("added_cautions.", "caution", &self.cautions),
        ];
        for (list, name, ids) in lists {
            let Some(rest) = at.strip_prefix(list) else { continue };
            let fits = |id: &&String| {
                let behind = rest.strip_prefix(id.as_str());
                behind.is_some_and(|behind| behind.is_empty() || behind.starts_with('.'))
            };
            // An id may begin like another: the longest is meant.
            let Some(id) = ids.iter().filter(fits).max_by_key(|id| id.len()) else { continue };
            let index = ids.iter().position(|other| other == id).unwrap_or_default();
            let key = if name == "limit" { id.clone() } else { index.to_string() };
            let fields = rest[id.len()..].split('.').filter(|field| !field.is_empty());
            return [name.to_owned(), key].into_iter().chain(fields.map(str::to_owned)).collect();
        }
        Vec::new()
    }
}

/// Where a path stands in the text, or the innermost part of it that is there.
fn span_of(table: &DeTable<'_>, path: &[&str]) -> Option<Range<usize>> {
    let (first, rest) = path.split_first()?;
    let value = table.get(*first)?;
    Some(within(value.get_ref(), rest).unwrap_or(value.span()))
}

fn within(value: &DeValue<'_>, path: &[&str]) -> Option<Range<usize>> {
    let (first, rest) = path.split_first()?;
    let inner = match value {
        DeValue::Table(table) => table.get(*first)?,
        DeValue::Array(list) => list.get(first.parse::<usize>().ok()?)?,
        _ => return None,
    };
    Some(within(inner.get_ref(), rest).unwrap_or(inner.span()))
}

fn line_and_column(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..offset).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let last = before.rfind('\n').map_or(0, |newline| newline + 1);
    (line, before[last..].chars().count() + 1)
}
