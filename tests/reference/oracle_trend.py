"""Fits slopes with scipy and shapes with numpy, and prints inputs and results as JSON.

Nothing here knows the project; the Rust test beside it compares.
"""

import json
import random
import warnings

import numpy as np
from scipy import stats

CASES = 1500


def series(chance):
    count = chance.choice([3, 4, 5, 6, 8, 12, 20, 33, 34, 60])
    times, now = [], chance.uniform(0, 3)
    for _ in range(count):
        times.append(now)
        # Now and then two readings at one time.
        now += 0 if chance.random() < 0.05 else chance.uniform(0.05, 2)
    slope, step = chance.choice([(0, 0), (chance.gauss(0, 1), 0), (0, chance.gauss(0, 5))])
    at = chance.randrange(count)
    decimals = chance.choice([0, 1, 12])
    values = [
        round(slope * time + (step if n >= at else 0) + chance.gauss(0, 0.5), decimals)
        for n, time in enumerate(times)
    ]
    return times, values


def number(value):
    return None if np.isnan(value) else float(value)


def scores(times, values, repeat):
    """Schwarz's criterion of a level, a line and the best step with two readings on each side."""
    times, values = np.array(times), np.array(values)
    n = len(values)

    def score(rss, fitted):
        return float(n * np.log(max(rss / n, repeat**2)) + fitted * np.log(n))

    line = np.polynomial.Polynomial.fit(times, values, 1)
    splits = [
        (values[:k].var() * k + values[k:].var() * (n - k), k) for k in range(2, n - 1)
    ]
    least, split = min(splits)
    return {
        "steady": score(values.var() * n, 2),
        "drift": score(((values - line(times)) ** 2).sum(), 3),
        "jump": score(least, 4),
        "split": split,
        "step": float(values[split:].mean() - values[:split].mean()),
    }


def case(chance):
    times, values = series(chance)
    confidence = chance.choice([0.9, 0.95, 0.99])
    repeat = chance.choice([0.05, 0.3])
    with warnings.catch_warnings():
        # Where everything is tied it warns and gives no number; that is passed on.
        warnings.simplefilter("ignore")
        line = stats.theilslopes(values, times, confidence)
        tau = stats.kendalltau(times, values)
    distinct = len(set(times)) > 1
    return {
        "times": times,
        "values": values,
        "confidence": confidence,
        "repeat": repeat,
        "slope": number(line.slope),
        "intercept": number(line.intercept),
        "low": number(line.low_slope),
        "high": number(line.high_slope),
        "tau": number(tau.statistic),
        "p_value": number(tau.pvalue),
        "scores": scores(times, values, repeat) if len(times) >= 5 and distinct else None,
    }


if __name__ == "__main__":
    chance = random.Random(9)
    print(json.dumps({"cases": [case(chance) for _ in range(CASES)]}))
