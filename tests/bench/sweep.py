"""Reads a Touchstone file so many times with scikit-rf and prints the median time in seconds."""

import contextlib
import statistics
import sys
import time

# It tells standard output that it found nothing to draw with; there the figure goes.
with contextlib.redirect_stdout(sys.stderr):
    from skrf.io.touchstone import Touchstone


def read(name):
    start = time.perf_counter()
    points = len(Touchstone(name).f)
    return time.perf_counter() - start, points


if __name__ == "__main__":
    name, repeats = sys.argv[1], int(sys.argv[2])
    times = [read(name) for _ in range(repeats)]
    assert all(points == 10_001 for _, points in times), times
    print(statistics.median(seconds for seconds, _ in times))
