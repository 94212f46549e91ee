"""Changes the core's source one small step at a time and asks whether its unit tests notice.

Takes the changes cargo-mutants knows (an operator turned, a value returned untouched, a match arm
left out) in the rooms named below: all of them, or a seeded sample of equal size from each. They
are written into one copy of the crate, each behind a switch that the environment turns on, so one
build does for all. Each test is run alone once, to see which changes it reaches; then each change
is switched on for the tests that reach it, those of its own topic first. The few that stand where
no switch can (a constant, a let chain, a field left out) get a build of their own, and all tests. A
change that no test notices is a gap in the tests, or makes no difference: look at it. Prints every
change missed, with how many tests reach it, and a line a room; ends with 1 where fewer than the
goal were caught.

  caught   a test failed, or did not end in time
  missed   all tests passed that reach it, or none does
  unbuilt  the compiler refused the change: it does not count
"""

import argparse
import collections
import concurrent.futures
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time

import tree_sitter
import tree_sitter_rust

ROOMS = ["rf", "limits", "uncertainty", "checks"]
GOAL = 0.95
# So many tests at a time: the first few nearly always tell.
BATCH = 8
SECONDS = 10
# All tests take half a minute where nothing else runs.
SECONDS_ALL = 240
RUST = tree_sitter.Language(tree_sitter_rust.language())
OPERATIONS = ("binary_expression", "compound_assignment_expr", "unary_expression")

SWITCH = """
/// Which change is on: for the tests that judge the tests.
#[allow(missing_docs)]
pub mod switched {
    use std::io::Write;
    use std::sync::LazyLock;
    use std::sync::atomic::{AtomicBool, Ordering};

    static ON: LazyLock<usize> = LazyLock::new(|| {
        std::env::var("SWITCHED_ON").map_or(0, |number| number.parse().unwrap())
    });
    static TOLD: LazyLock<Option<String>> = LazyLock::new(|| std::env::var("SWITCHED_SEEN").ok());
    static SEEN: [AtomicBool; 20_000] = [const { AtomicBool::new(false) }; 20_000];

    pub fn on(number: usize) -> bool {
        if let Some(path) = &*TOLD
            && !SEEN[number].swap(true, Ordering::Relaxed)
        {
            let mut file = std::fs::File::options().append(true).create(true).open(path).unwrap();
            file.write_all(format!("{number}\\n").as_bytes()).unwrap();
        }
        *ON == number
    }
}
"""


def listed(repository, tool):
    """Every change in a room, numbered from 1 in the order of file and name."""
    asked = [tool, "mutants", "--list", "--json", "--package", "guyline-core"]
    for room in ROOMS:
        asked += ["--file", f"shared-core/src/{room}/**"]
    found = subprocess.run(asked, cwd=repository, capture_output=True, text=True, check=True)
    changes = sorted(json.loads(found.stdout), key=lambda one: (one["file"], one["name"]))
    for number, change in enumerate(changes, 1):
        change["number"], change["room"] = number, change["file"].split("/")[2]
    return changes


def sample(changes, seed, count):
    """The same sample for the same seed and source; rooms with less give what they have."""
    chance = random.Random(seed)
    drawn = []
    for room in ROOMS:
        known = [one for one in changes if one["room"] == room]
        drawn += chance.sample(known, min(count, len(known))) if count else known
    return drawn


def again(changes, file):
    """What an earlier run missed: from the lines that it printed."""
    lines = [line for line in file.read_text().splitlines() if line.startswith("missed ")]
    missed = {line.split(maxsplit=1)[1].rsplit("  [", 1)[0] for line in lines}
    drawn = [one for one in changes if short(one) in missed]
    for name in sorted(missed - {short(change) for change in drawn}):
        print(f"gone    {name}", flush=True)
    return drawn


def short(change):
    return re.sub(r"^shared-core/src/", "", change["name"])


class Source:
    """One file, and how changes are written into it, each behind its switch.

    An operator's change writes the whole operation out once more, with the operator turned, beside
    the one that stands there: `(if on(7) { a - b } else { a + b })`. The others are a line at the
    head of a function and a condition on an arm of a match.
    """

    def __init__(self, path):
        self.path, self.text = path, path.read_bytes()
        self.starts = [0]
        for line in self.text.splitlines(keepends=True):
            self.starts.append(self.starts[-1] + len(line))
        self.root = tree_sitter.Parser(RUST).parse(self.text).root_node

    def span(self, change):
        """From which byte to which the change goes."""
        def at(place):
            start, end = self.starts[place["line"] - 1], self.starts[place["line"]]
            return start + len(self.text[start:end].decode()[:place["column"] - 1].encode())
        return at(change["span"]["start"]), at(change["span"]["end"])

    def operation(self, change):
        """The outermost operation that the change stands in, from byte to byte."""
        node = self.root.descendant_for_byte_range(*self.span(change))
        found = None
        while node and node.type not in ("function_item", "const_item", "static_item"):
            # What a star points to is a place, and a choice between two is none.
            if node.type in OPERATIONS and node.child(0).type != "*":
                found = node.start_byte, node.end_byte
            node = node.parent
        return found if node is None or node.type == "function_item" else None

    def in_place(self, change):
        """What to put at which bytes for a change that is no operator's; None where nothing can."""
        on = f"crate::switched::on({change['number']})"
        start, end = self.span(change)
        if change["genre"] == "FnValue":
            # What is behind an `impl` is one type, and may not be chosen between.
            if "impl " in change["function"]["return_type"]:
                return None
            return [(start, f"if {on} {{ return {change['replacement']}; }} ")]
        node = self.root.descendant_for_byte_range(start, end)
        while node and node.type not in ("match_arm", "match_pattern"):
            node = node.parent
        pattern = node and (node.child_by_field_name("pattern") or node)
        guard = pattern and pattern.child_by_field_name("condition")
        if pattern is None or guard is not None and b"let " in guard.text:
            return None
        if change["genre"] == "MatchArm" and guard is None:
            return [(pattern.end_byte, f" if !{on}")]
        if change["genre"] not in ("MatchArm", "MatchArmGuard") or guard is None:
            return None
        head = f"{on} || (" if change["replacement"] == "true" else f"!{on} && ("
        return [(guard.start_byte, head), (guard.end_byte, ")")]

    def changed(self, change):
        """The text with this one change made."""
        start, end = self.span(change)
        return self.text[:start] + change["replacement"].encode() + self.text[end:]

    def written(self, changes):
        """The text with the changes behind switches, where each stands in it, and which cannot."""
        operations, pieces, unswitched = collections.defaultdict(list), [], set()
        # A piece: at which byte, in which order of those there, its text, whose it is.
        for change in changes:
            turned = change["genre"] in ("BinaryOperator", "UnaryOperator")
            put = self.operation(change) if turned else self.in_place(change)
            if put is None:
                unswitched.add(change["number"])
            elif turned:
                operations[put].append(change)
            else:
                pieces += [(at, 1 if text == ")" else 2, text, change["number"])
                           for at, text in put]
        for (start, end), inside in operations.items():
            for place, change in enumerate(inside):
                old, new = self.span(change)
                turned = self.text[start:old].decode() + change["replacement"]
                turned += self.text[new:end].decode()
                text = f"{'else if' if place else '(if'} crate::switched::on({change['number']})"
                pieces.append((start, 3, f"{text} {{ {turned} }} ", change["number"]))
            pieces += [(start, 3, "else { ", 0), (end, 0, " })", 0)]
        pieces.sort(key=lambda piece: piece[:2])
        made, places, before = bytearray(), [], 0
        for at, _, text, number in pieces:
            made += self.text[before:at]
            places.append((len(made), len(made) + len(text.encode()), number))
            made += text.encode()
            before = at
        made += self.text[before:]
        return bytes(made), [place for place in places if place[2]], unswitched


class Crate:
    """A copy of the core with its changes behind switches, and a target folder of its own.

    Of its own, because cargo takes two crates of one name at one place below their roots for one
    crate, and would write its build over another's.
    """

    def __init__(self, repository, folder, changes):
        self.folder, self.target = folder / "source", folder / "target"
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(repository / "shared-core", self.folder / "shared-core")
        shutil.copytree(repository / "demo-data", self.folder / "demo-data")
        shutil.copy2(repository / "Cargo.lock", self.folder)
        root = (repository / "Cargo.toml").read_text()
        root = re.sub(r"(?m)^members = .*$", 'members = ["shared-core"]', root)
        root = re.sub(r"(?m)^guyline-(?!core)\w+ = .*\n", "", root)
        (self.folder / "Cargo.toml").write_text(root)
        with (self.folder / "shared-core/src/lib.rs").open("a") as library:
            library.write(SWITCH)
        self.changes = collections.defaultdict(list)
        for change in changes:
            self.changes[change["file"]].append(change)
        self.sources = {file: Source(self.folder / file) for file in self.changes}
        self.unbuilt, self.unswitched, self.places = set(), set(), {}
        self.binary = self.build()

    def write(self):
        for file, source in self.sources.items():
            kept = [one for one in self.changes[file] if one["number"] not in self.unbuilt]
            text, self.places[file], unswitched = source.written(kept)
            self.unswitched |= unswitched
            if source.path.read_bytes() != text:
                source.path.write_bytes(text)

    def build(self):
        """The test binary, once all is left out that the compiler refuses."""
        self.write()
        binary = None
        for asked in (["check", "--profile", "test", "--lib"], ["test", "--no-run", "--lib"]):
            while True:
                binary, errors = self.cargo(*asked)
                refused = set().union(*map(self.blamed, errors))
                if not refused - self.unbuilt:
                    break
                self.unbuilt |= refused
                self.write()
        return binary or sys.exit("the crate does not build with its changes behind switches")

    def alone(self, change):
        """The test binary with one change made in its file; None where the compiler refuses it."""
        source = self.sources[change["file"]]
        switched = source.path.read_bytes()
        source.path.write_bytes(source.changed(change))
        try:
            return self.cargo("test", "--no-run", "--lib")[0]
        finally:
            source.path.write_bytes(switched)

    def cargo(self, *asked):
        """The test binary, where one was asked for and built, and the compiler's errors."""
        settings = {
            "CARGO_TARGET_DIR": str(self.target),
            "CARGO_INCREMENTAL": "1",
            "CARGO_PROFILE_DEV_DEBUG": "0",
        }
        ran = subprocess.run(
            ["cargo", *asked, "--package", "guyline-core", "--quiet", "--message-format", "json"],
            cwd=self.folder, env=os.environ | settings, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True,
        )
        binary, errors = None, []
        for said in map(json.loads, ran.stdout.splitlines()):
            message = said.get("message")
            if message and message["level"] == "error":
                errors.append(message)
            if said.get("executable") and said["target"]["name"] == "guyline_core":
                binary = said["executable"]
        return binary, errors

    def blamed(self, message):
        """The change in whose text an error stands, or those that it goes over."""
        over = set()
        for span in sorted(message["spans"], key=lambda span: not span["is_primary"]):
            places = self.places.get(span["file_name"], [])
            inside = [one for one in places if one[0] <= span["byte_start"] < one[1]]
            if inside:
                return {min(inside, key=lambda one: one[1] - one[0])[2]}
            over |= {number for start, end, number in places
                     if start < span["byte_end"] and span["byte_start"] < end}
        if message["spans"] and not over:
            print(message["rendered"], file=sys.stderr)
        return over


class Tests:
    """The crate's unit tests, and which changes each reaches."""

    def __init__(self, crate, jobs):
        self.binary, self.folder = crate.binary, crate.folder / "shared-core"
        asked = [self.binary, "--list", "--format", "terse"]
        told = subprocess.run(asked, cwd=self.folder, capture_output=True, text=True, check=True)
        names = [line[:-len(": test")] for line in told.stdout.splitlines()
                 if line.endswith(": test")]
        self.seconds, self.reach = {}, collections.defaultdict(list)
        with concurrent.futures.ThreadPoolExecutor(jobs) as pool:
            for name, seconds, seen in pool.map(self.alone, names):
                self.seconds[name] = seconds
                for number in seen:
                    self.reach[number].append(name)

    def alone(self, name):
        """How long a test takes by itself, and the numbers of the changes it comes by."""
        with tempfile.TemporaryDirectory() as folder:
            seen = pathlib.Path(folder) / "seen"
            begun = time.monotonic()
            ran = subprocess.run([self.binary, "--exact", name], cwd=self.folder,
                                 env=os.environ | {"SWITCHED_SEEN": str(seen)},
                                 capture_output=True)
            if ran.returncode != 0:
                sys.exit(f"{name} does not pass as it is: nothing can be said of changes")
            numbers = seen.read_text().split() if seen.exists() else []
            return name, time.monotonic() - begun, {int(number) for number in numbers}

    def judge_alone(self, binary, change):
        """What all tests make of a build of its own, those of the change's file first."""
        topic = "::".join(pathlib.Path(change["file"]).with_suffix("").parts[2:4])
        for asked in ([topic], []):
            if self.notice([binary, "--quiet", *asked], {}, SECONDS_ALL):
                return "caught"
        return "missed"

    def notice(self, asked, settings, seconds):
        """Whether any of these tests fails, or does not end in time."""
        try:
            ran = subprocess.run(asked, cwd=self.folder, env=os.environ | settings,
                                 capture_output=True, timeout=seconds)
        except subprocess.TimeoutExpired:
            return True
        return ran.returncode != 0

    def judge(self, change):
        topic = "::".join(pathlib.Path(change["file"]).with_suffix("").parts[2:4])
        order = lambda name: (not name.startswith(topic), self.seconds[name])
        tests = sorted(self.reach[change["number"]], key=order)
        for begin in range(0, len(tests), BATCH):
            batch = tests[begin:begin + BATCH]
            allowed = SECONDS + 6 * sum(self.seconds[name] for name in batch)
            asked = [self.binary, "--quiet", "--exact", *batch]
            if self.notice(asked, {"SWITCHED_ON": str(change["number"])}, allowed):
                return "caught"
        return "missed"


def outcomes(crate, tests, drawn, jobs):
    """Each change with what became of it: those behind a switch first."""
    switched = [one for one in drawn if one["number"] not in crate.unswitched]

    def judged(change):
        return "unbuilt" if change["number"] in crate.unbuilt else tests.judge(change)

    with concurrent.futures.ThreadPoolExecutor(jobs) as pool:
        yield from zip(switched, pool.map(judged, switched))
    for change in drawn:
        if change["number"] in crate.unswitched:
            binary = crate.alone(change)
            yield change, tests.judge_alone(binary, change) if binary else "unbuilt"


def told(changes, tally, drawn_by):
    """A line a room and one for all; the share that was caught."""
    for room, counts in tally.items():
        known = sum(one["room"] == room for one in changes)
        share = counts["caught"] / max(1, counts["caught"] + counts["missed"])
        print(f"{room:<12} {known:>5} known {dict(counts)} {100 * share:.1f} % caught")
    caught = sum(counts["caught"] for counts in tally.values())
    judged = caught + sum(counts["missed"] for counts in tally.values())
    share = caught / max(1, judged)
    print(f"{drawn_by}: {caught} of {judged} caught, {100 * share:.1f} %")
    return share


def main():
    asks = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asks.add_argument("--repository", type=pathlib.Path, required=True)
    asks.add_argument("--folder", type=pathlib.Path, required=True, help="where the copy is built")
    asks.add_argument("--tool", default="cargo-mutants")
    asks.add_argument("--seed", type=int, default=1)
    asks.add_argument("--count", type=int, default=100, help="how many a room; 0 for all")
    asks.add_argument("--only", default="", metavar="PATTERN", help="of these files only")
    asks.add_argument("--again", type=pathlib.Path, metavar="OUTPUT",
                      help="in place of a sample, what the run with this output missed")
    asks.add_argument("--jobs", type=int, default=2)
    asks.add_argument("--verbose", action="store_true", help="each change on standard error")
    given = asks.parse_args()

    changes = listed(given.repository, given.tool)
    if given.again:
        drawn = again(changes, given.again)
    else:
        drawn = sample(changes, given.seed, given.count)
    drawn = [change for change in drawn if re.search(given.only, change["file"])]
    crate = Crate(given.repository, given.folder, drawn)
    tests = Tests(crate, given.jobs)
    tally = {room: collections.Counter() for room in ROOMS}
    for change, outcome in outcomes(crate, tests, drawn, given.jobs):
        tally[change["room"]][outcome] += 1
        if given.verbose:
            print(f"{outcome:<9}{short(change)}", file=sys.stderr, flush=True)
        if outcome == "missed":
            reached = len(tests.reach[change["number"]])
            print(f"missed  {short(change)}  [{reached}]", flush=True)
    drawn_by = "again" if given.again else f"seed {given.seed}" if given.count else "all"
    sys.exit(0 if told(changes, tally, drawn_by) >= GOAL else 1)


main()
