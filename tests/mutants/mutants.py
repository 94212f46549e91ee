"""Changes the core's source one small step at a time and asks whether its unit tests notice.

Lists every change cargo-mutants knows (an operator turned, a value returned untouched, a match arm
left out) in the rooms named below, draws a seeded sample of equal size from each, makes one change
at a time in a copy of the crate, and runs the library's tests: first those of the change's own room,
in a crate of only that and what it uses, which builds in a fraction of the time; where they notice
nothing, all tests that do not take long. A change that no test notices is a gap in the tests, or
makes no difference: look at it. Prints every change missed and a line a room; ends with 1 where
fewer than the goal were caught.

  caught   a test failed, or did not end in a minute
  missed   all tests passed
  unbuilt  the compiler refused the change: it does not count
"""

import argparse
import concurrent.futures
import json
import os
import pathlib
import queue
import random
import re
import shutil
import subprocess
import sys

# Each with the rooms it uses.
USES = {
    "rf": ["units", "time"],
    "limits": ["units"],
    "uncertainty": ["units"],
    "checks": ["units", "time", "rf", "limits", "uncertainty", "record"],
}
ROOMS = list(USES)
GOAL = 0.95
SECONDS = 60
# Whole recordings: slow, and nothing but the audio topics moves them.
SLOW = ["rf::audio", "bench::audio", "bench::iq"]


def listed(repository, tool):
    """Every change in a room, with its diff."""
    asked = [tool, "mutants", "--list", "--json", "--diff", "--package", "guyline-core"]
    for room in ROOMS:
        asked += ["--file", f"shared-core/src/{room}/**"]
    found = subprocess.run(asked, cwd=repository, capture_output=True, text=True, check=True)
    rooms = {room: [] for room in ROOMS}
    for change in json.loads(found.stdout):
        rooms[change["file"].split("/")[2]].append(change)
    return rooms


def sample(rooms, seed, count):
    """The same sample for the same seed and source; rooms with less give what they have."""
    chance = random.Random(seed)
    drawn = []
    for room, changes in rooms.items():
        changes.sort(key=lambda change: (change["file"], change["name"]))
        drawn += [(room, c) for c in chance.sample(changes, min(count, len(changes)))]
    chance.shuffle(drawn)
    return drawn


def again(rooms, file):
    """What an earlier run missed: from the lines that it printed."""
    missed = {line.split(maxsplit=1)[1] for line in file.read_text().splitlines()
              if line.startswith("missed ")}
    drawn = [(room, c) for room, changes in rooms.items() for c in changes if short(c) in missed]
    for name in sorted(missed - {short(change) for _, change in drawn}):
        print(f"gone    {name}", flush=True)
    return drawn


def short(change):
    return re.sub(r"^shared-core/src/", "", change["name"])


class Crate:
    """A copy of the core, whole or with some of its rooms only, and a target folder of its own.

    Of its own, because cargo takes two crates of one name at one place below their roots for one
    crate, and would give back what it built of the other.
    """

    def __init__(self, repository, folder, only=()):
        self.folder, self.target = folder / "source", folder / "target"
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(repository / "shared-core", self.folder / "shared-core")
        shutil.copytree(repository / "demo-data", self.folder / "demo-data")
        shutil.copy2(repository / "Cargo.lock", self.folder)
        root = (repository / "Cargo.toml").read_text()
        root = re.sub(r"(?m)^members = .*$", 'members = ["shared-core"]', root)
        root = re.sub(r"(?m)^guyline-(?!core)\w+ = .*\n", "", root)
        (self.folder / "Cargo.toml").write_text(root)
        library = self.folder / "shared-core/src/lib.rs"
        text = library.read_text()
        if only:
            kept = lambda found: found[0] if found[1] in only else ""
            text = re.sub(r"(?m)^pub mod (\w+);\n", kept, text)
        library.write_text(text)

    def build(self):
        """The test binary, or None where the compiler refuses."""
        settings = {
            "CARGO_TARGET_DIR": str(self.target),
            "CARGO_INCREMENTAL": "1",
            "CARGO_PROFILE_DEV_DEBUG": "0",
        }
        built = subprocess.run(
            ["cargo", "test", "--package", "guyline-core", "--lib", "--no-run", "--quiet",
             "--message-format", "json"],
            cwd=self.folder, env=os.environ | settings, capture_output=True, text=True,
        )
        for line in built.stdout.splitlines() if built.returncode == 0 else []:
            said = json.loads(line)
            if said.get("executable") and said["target"]["name"] == "guyline_core":
                return said["executable"]
        return None

    def tests_fail(self, binary, only, skip):
        asked = [binary, "--quiet", *only]
        for name in skip:
            asked += ["--skip", name]
        try:
            ran = subprocess.run(
                asked, cwd=self.folder / "shared-core", capture_output=True, timeout=SECONDS
            )
        except subprocess.TimeoutExpired:
            return True
        return ran.returncode != 0

    def judge(self, change):
        """Makes the change, asks the tests, and takes it back."""
        file = self.folder / change["file"]
        before = file.read_text()
        apply = ["patch", "--quiet", "--no-backup-if-mismatch", str(file)]
        subprocess.run(apply, input=change["diff"], text=True, check=True)
        try:
            binary = self.build()
            if binary is None:
                return "unbuilt"
            topic = "::".join(pathlib.Path(change["file"]).with_suffix("").parts[2:4])
            if self.tests_fail(binary, [topic], []):
                return "caught"
            skipped = [] if topic == "rf::audio" else SLOW
            return "caught" if self.tests_fail(binary, [], skipped) else "missed"
        finally:
            # A newer time than the change's, or cargo would not build it back.
            file.write_text(before)


class Copy:
    """The core whole, and each room alone with what it uses."""

    def __init__(self, repository, folder):
        self.rooms = {
            room: Crate(repository, folder / room, [room, *uses]) for room, uses in USES.items()
        }
        self.whole = Crate(repository, folder / "whole")
        for crate in (*self.rooms.values(), self.whole):
            built = crate.build()
            if built is None or crate.tests_fail(built, [], SLOW):
                sys.exit("the tests do not pass as they are: nothing can be said of changes")

    def judge(self, room, change):
        outcome = self.rooms[room].judge(change)
        return outcome if outcome != "missed" else self.whole.judge(change)


def main():
    asks = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asks.add_argument("--repository", type=pathlib.Path, required=True)
    asks.add_argument("--folder", type=pathlib.Path, required=True, help="where copies are built")
    asks.add_argument("--tool", default="cargo-mutants")
    asks.add_argument("--seed", type=int, default=1)
    asks.add_argument("--count", type=int, default=100, help="how many a room")
    asks.add_argument("--again", type=pathlib.Path, metavar="OUTPUT",
                      help="in place of a sample, what the run with this output missed")
    asks.add_argument("--jobs", type=int, default=2)
    asks.add_argument("--verbose", action="store_true", help="each change on standard error")
    given = asks.parse_args()

    rooms = listed(given.repository, given.tool)
    if given.again:
        drawn = again(rooms, given.again)
    else:
        drawn = sample(rooms, given.seed, given.count)
    copies = queue.Queue()
    for job in range(given.jobs):
        copies.put(Copy(given.repository, given.folder / f"j{job}"))

    def judged(room, change):
        copy = copies.get()
        try:
            return room, change, copy.judge(room, change)
        finally:
            copies.put(copy)

    tally = {room: {"caught": 0, "missed": 0, "unbuilt": 0} for room in ROOMS}
    with concurrent.futures.ThreadPoolExecutor(given.jobs) as pool:
        for done in concurrent.futures.as_completed([pool.submit(judged, *one) for one in drawn]):
            room, change, outcome = done.result()
            tally[room][outcome] += 1
            if given.verbose:
                print(f"{outcome:<8}{change['name']}", file=sys.stderr, flush=True)
            if outcome == "missed":
                print(f"missed  {short(change)}", flush=True)
    caught = missed = 0
    for room, counts in tally.items():
        caught, missed = caught + counts["caught"], missed + counts["missed"]
        share = counts["caught"] / max(1, counts["caught"] + counts["missed"])
        print(f"{room:<12} {len(rooms[room]):>5} known {counts} {100 * share:.1f} % caught")
    share = caught / max(1, caught + missed)
    drawn_by = "again" if given.again else f"seed {given.seed}"
    print(f"{drawn_by}: {caught} of {caught + missed} caught, {100 * share:.1f} %")
    sys.exit(0 if share >= GOAL else 1)


main()
