//! Goal: nobody can change one value of a report and seal it anew without the record giving it
//! away. Method: a thousand times, by a seed, one value of a visit's or a site's report as data is
//! changed, the file is sealed by a device of the shop that has the same record, and verified
//! elsewhere.

use guyline_hub::Node;
use guyline_hub::desk::{self, FileVerification, MadeFile, Wanted};
use guyline_hub::identity::DeviceKey;
use guyline_hub::render::FileForm;
use guyline_hub::render::seal::{self, Sealed};
use serde_json::Value;

use crate::report::Day;

const LIES: usize = 1_000;

/// Knuth's MMIX generator: the same numbers on every machine.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, bound: usize) -> usize {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % bound
    }
}

/// A line of JSON as it is written for people: what stands before its value, the value, its end.
fn parted(line: &str) -> Option<(&str, Value, &str)> {
    let (whole, end) = match line.strip_suffix(',') {
        Some(whole) => (whole, ","),
        None => (line, ""),
    };
    let indent = whole.len() - whole.trim_start().len();
    let own = &whole[indent..];
    let start = match own.find("\": ") {
        Some(at) if own.starts_with('"') => indent + at + 3,
        _ => indent,
    };
    let value = serde_json::from_str(&whole[start..]).ok()?;
    // An empty list holds no value.
    let leaf = !matches!(value, Value::Array(_) | Value::Object(_));
    leaf.then_some((&whole[..start], value, end))
}

/// Another value of the same kind.
fn lie(value: &mut Value, seeded: &mut Seeded) {
    *value = match &*value {
        Value::Null => Value::from("none"),
        Value::Bool(is) => Value::from(!is),
        Value::Number(number) => {
            let number = number.as_f64().expect("a number of a report");
            Value::from(number + if seeded.below(2) == 0 { 0.01 } else { -3.0 })
        }
        Value::String(text) if text.is_empty() => Value::from("x"),
        Value::String(text) => {
            let at = seeded.below(text.chars().count());
            let other = |(place, letter): (usize, char)| match (place == at, letter) {
                (false, letter) => letter,
                (true, '1') => '7',
                (true, _) => '1',
            };
            Value::from(text.chars().enumerate().map(other).collect::<String>())
        }
        Value::Array(_) | Value::Object(_) => unreachable!("only leaves are asked for"),
    };
}

/// The reports of the played day's visit and site as data, made by the forger's device.
fn made(day: &Day) -> ([MadeFile; 2], DeviceKey) {
    let wanted =
        Wanted { form: FileForm::Json, language: Default::default(), paper: Default::default() };
    let forger = Node::open(&day.path("tobias")).unwrap();
    let visit = desk::report_file(&forger, day.session, wanted).unwrap();
    let site = desk::site_report_file(&forger, "Owl Knob", wanted).unwrap();
    drop(forger);
    ([visit, site], DeviceKey::open(&day.path("tobias")).unwrap())
}

#[test]
fn a_thousand_changed_values_sealed_anew_are_all_noticed() {
    let day = Day::played();
    let (made, key) = made(&day);
    let node = Node::open(&day.path("wren")).unwrap();
    let told: Vec<Told<'_>> = made.iter().map(|made| Told::of(&made.bytes)).collect();
    // Two cores share them; each has a seed of its own.
    std::thread::scope(|scope| {
        for seed in 1..=2 {
            let (told, key, node) = (&told, &key, node.clone());
            scope.spawn(move || {
                let mut seeded = Seeded(seed);
                for round in 0..LIES / 2 {
                    // A site's report is made of more: one in ten.
                    told[usize::from(round % 10 == 0)].lied_in(&node, key, &mut seeded);
                }
            });
        }
    });
}

/// A sealed file, taken apart once.
struct Told<'a> {
    sealed: Sealed<'a>,
    lines: Vec<&'a str>,
    /// The lines that hold a value.
    values: Vec<usize>,
}

impl<'a> Told<'a> {
    fn of(file: &'a [u8]) -> Self {
        let sealed = seal::open(file).unwrap();
        let lines: Vec<&str> = std::str::from_utf8(sealed.content).unwrap().lines().collect();
        let values = (0..lines.len()).filter(|at| parted(lines[*at]).is_some()).collect();
        Self { sealed, lines, values }
    }

    /// Changes one value, seals that anew, and has it noticed.
    fn lied_in(&self, node: &Node, key: &DeviceKey, seeded: &mut Seeded) {
        let at = self.values[seeded.below(self.values.len())];
        let (before, mut value, end) = parted(self.lines[at]).unwrap();
        lie(&mut value, seeded);
        let changed = format!("{before}{value}{end}");
        assert_ne!(changed, self.lines[at], "no lie");
        let told = sealed_anew(node, &self.sealed, key, |_| {
            let mut lines = self.lines.clone();
            lines[at] = &changed;
            lines.join("\n")
        });
        assert_eq!(told.refused, None, "its seal is a true one");
        assert!(told.same_file == Some(false) && !told.intact, "not noticed: {changed}");
    }
}

#[test]
fn what_is_not_changed_and_sealed_anew_is_the_same_file() {
    // Else the test above would notice how it writes, and no lie.
    let day = Day::played();
    let (made, key) = made(&day);
    let node = Node::open(&day.path("wren")).unwrap();
    for made in &made {
        let sealed = seal::open(&made.bytes).unwrap();
        let told =
            sealed_anew(&node, &sealed, &key, |text| text.lines().collect::<Vec<_>>().join("\n"));
        assert_eq!((told.refused, told.same_file), (None, Some(true)));
    }
}

/// What a file is told to be once somebody changed it and sealed it with a key of the shop.
fn sealed_anew(
    node: &Node,
    sealed: &Sealed<'_>,
    key: &DeviceKey,
    change: impl FnOnce(&str) -> String,
) -> FileVerification {
    let text = change(std::str::from_utf8(sealed.content).unwrap());
    let forged = seal::seal(text.into_bytes(), FileForm::Json, &sealed.origin, key);
    desk::verify_file(node, &forged).unwrap()
}
