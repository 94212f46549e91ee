"""Enumerates a site's intermodulation products with numpy and times itself.

In, on standard input: carriers and receivers in hertz and the highest order, as JSON. Out: hits on
each receiver by order, and the seconds from the first array to the last count. Loading numpy and
reading the question are not in it.

It takes care not to be slow: sums are built from sums of lower order, so that a product costs one
addition; a product and its mirror are made once, with the last carrier taken in plus; all receivers
are looked up at once in one sorted list of edges; nothing is stored for the highest order.
"""

import json
import sys
from time import perf_counter

import numpy as np


def edges(receivers):
    """Where windows begin and end, sorted. They do not overlap."""
    windows = sorted((hertz - width // 2, hertz + width // 2 + 1) for hertz, width in receivers)
    return np.array(windows, dtype=np.int64).reshape(-1)


def enumerate_all(carriers, receivers, order_max):
    """Hits by order and receiver, receivers in the order of their frequencies."""
    bounds = edges(receivers)
    counts = np.zeros((order_max + 1, len(receivers)), dtype=np.int64)
    # All signed sums of exactly n terms over the carriers so far.
    sums = [np.zeros(1, dtype=np.int64)] + [np.zeros(0, dtype=np.int64)] * order_max
    for carrier in carriers:
        for order in range(order_max, 0, -1):
            new = [sums[order - times] + times * carrier for times in range(1, order + 1)]
            plus = np.concatenate(new)
            if order >= 2:
                hertz = np.abs(plus)
                # Most products are in no window's reach: they go before the look-up.
                near = hertz[(hertz >= bounds[0]) & (hertz < bounds[-1])]
                at = np.searchsorted(bounds, near, side="right")
                counts[order] += np.bincount(at, minlength=len(bounds) + 1)[1::2]
            if order < order_max:
                # Signed sums come in mirrored pairs, so taking away mirrors adding.
                sums[order] = np.concatenate([sums[order], plus, -plus])
    return counts


if __name__ == "__main__":
    asked = json.load(sys.stdin)
    start = perf_counter()
    counts = enumerate_all(asked["carriers_hz"], asked["receivers_hz"], asked["order_max"])
    seconds = perf_counter() - start
    print(json.dumps({"seconds": seconds, "counts": counts.tolist()}))
