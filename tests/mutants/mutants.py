"""Changes the core's source one small step at a time and asks whether its unit tests notice.

Lists every change cargo-mutants knows (an operator turned, a value returned untouched, a match arm
left out) in the rooms named below, draws a seeded sample of equal size from each, makes one change
at a time in a copy of the repository, and runs the library's tests: those of the change's own topic
first, then all that do not take long. A change that no test notices is a gap in the tests, or makes
no difference: look at it. Prints a line a room and every change missed; ends with 1 where fewer
than the goal were caught.

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

ROOMS = ["rf", "limits", "uncertainty", "checks"]
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


class Copy:
    """One copy of the repository with a target folder of its own."""

    def __init__(self, repository, folder):
        self.folder, self.target = folder / "source", folder / "target"
        shutil.rmtree(self.folder, ignore_errors=True)
        names = subprocess.run(
            ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
            cwd=repository, capture_output=True, text=True, check=True,
        ).stdout.split("\0")
        for name in filter(None, names):
            if (repository / name).is_file():
                (self.folder / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(repository / name, self.folder / name)
        built = self.build()
        if built is None or self.tests_fail(built, [], SLOW):
            sys.exit("the tests do not pass as they are: nothing can be said of changes")

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
            audio = topic == "rf::audio"
            return "caught" if self.tests_fail(binary, [], [] if audio else SLOW) else "missed"
        finally:
            # A newer time than the change's, or cargo would not build it back.
            file.write_text(before)


def main():
    asks = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asks.add_argument("--repository", type=pathlib.Path, required=True)
    asks.add_argument("--folder", type=pathlib.Path, required=True, help="where copies are built")
    asks.add_argument("--tool", default="cargo-mutants")
    asks.add_argument("--seed", type=int, default=1)
    asks.add_argument("--count", type=int, default=100, help="how many a room")
    asks.add_argument("--jobs", type=int, default=2)
    given = asks.parse_args()

    rooms = listed(given.repository, given.tool)
    drawn = sample(rooms, given.seed, given.count)
    copies = queue.Queue()
    for job in range(given.jobs):
        copies.put(Copy(given.repository, given.folder / f"copy-{job}"))

    def judged(room, change):
        copy = copies.get()
        try:
            return room, change, copy.judge(change)
        finally:
            copies.put(copy)

    tally = {room: {"caught": 0, "missed": 0, "unbuilt": 0} for room in ROOMS}
    with concurrent.futures.ThreadPoolExecutor(given.jobs) as pool:
        for done in concurrent.futures.as_completed([pool.submit(judged, *one) for one in drawn]):
            room, change, outcome = done.result()
            tally[room][outcome] += 1
            if outcome == "missed":
                print(f"missed  {re.sub(r'^shared-core/src/', '', change['name'])}", flush=True)
    caught = missed = 0
    for room, counts in tally.items():
        caught, missed = caught + counts["caught"], missed + counts["missed"]
        share = counts["caught"] / max(1, counts["caught"] + counts["missed"])
        print(f"{room:<12} {len(rooms[room]):>5} known {counts} {100 * share:.1f} % caught")
    share = caught / max(1, caught + missed)
    print(f"seed {given.seed}: {caught} of {caught + missed} caught, {100 * share:.1f} %")
    sys.exit(0 if share >= GOAL else 1)


main()
