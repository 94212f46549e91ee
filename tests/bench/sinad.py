"""Fits a four-parameter sine to a recording with scipy and tells how long the fit alone took.

Arguments: a file of 64 bit floats, their rate in hertz, the tone in hertz, how often. Prints JSON:
the seconds of each fit and the SINAD. The fit starts at the known tone, amplitude and offset from
the linear fit there, and is given its slopes: the fastest of scipy's ways that were tried. Reading
the file and starting Python are not counted.
"""

import json
import sys
from time import perf_counter

import numpy as np
from scipy.optimize import least_squares

samples = np.fromfile(sys.argv[1], dtype="<f8")
rate, tone, rounds = float(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4])


def fit():
    time = np.arange(len(samples)) / rate

    def columns(frequency):
        angle = 2 * np.pi * frequency * time
        return np.cos(angle), np.sin(angle), np.ones(len(samples))

    def rest(p):
        cos, sin, _ = columns(p[3])
        return p[0] * cos + p[1] * sin + p[2] - samples

    def slopes(p):
        cos, sin, one = columns(p[3])
        return np.stack([cos, sin, one, 2 * np.pi * time * (p[1] * cos - p[0] * sin)], axis=1)

    first = np.linalg.lstsq(np.stack(columns(tone), axis=1), samples, rcond=None)[0]
    found = least_squares(rest, [*first, tone], jac=slopes, method="lm")
    a, b = found.x[:2]
    signal, left = (a * a + b * b) / 2, np.mean(found.fun**2)
    return 10 * np.log10((signal + left) / left)


seconds = []
for _ in range(rounds):
    begun = perf_counter()
    sinad = fit()
    seconds.append(perf_counter() - begun)
print(json.dumps({"seconds": seconds, "sinad_db": float(sinad)}))
