"""Enumerates intermodulation products with numpy and prints inputs and results as JSON.

Every vector of whole coefficients is tried, on small sites; nothing is clever here. Nothing here
knows the project; the Rust test beside it compares.
"""

import itertools
import json
import math
import random

import numpy as np

CASES = 1200
HIGHEST = 7


def vectors(carriers, order):
    """All coefficient vectors of an order, a vector and its mirror being one."""
    steps = np.arange(-order, order + 1)
    grid = np.stack(np.meshgrid(*[steps] * carriers, indexing="ij"), axis=-1).reshape(-1, carriers)
    grid = grid[np.abs(grid).sum(axis=1) == order]
    first = np.take_along_axis(grid, (grid != 0).argmax(axis=1)[:, None], axis=1)[:, 0]
    return grid[first > 0]


def levels(matrix, powers, order, intercept):
    """Carriers' powers, intercept slope, and the multinomial against the two-carrier product's."""
    factorial = np.array([math.factorial(k) for k in range(HIGHEST + 1)], dtype=float)
    own = factorial[order] / np.prod(factorial[np.abs(matrix)], axis=1)
    return np.abs(matrix) @ powers - (order - 1) * intercept + 20 * np.log10(
        own / math.comb(order, order // 2)
    )


def case(chance, tables):
    count = chance.randint(1, 5)
    raster = chance.choice([1, 2_500, 12_500])
    base = chance.choice([300_000, 155_000_000, 460_000_000])
    spread = max(2_000_000, 20 * raster)
    carriers = sorted(
        {base + raster * chance.randrange(spread // raster) for _ in range(count)},
        key=lambda _: chance.random(),
    )
    powers = [round(chance.uniform(-60, 50), 1) for _ in carriers]
    receivers = [
        [base + chance.randrange(-100_000, 2_500_000), chance.choice([1, 8_000, 12_500, 200_000])]
        for _ in range(chance.randint(1, 3))
    ]
    deviation, audio = chance.choice([(0, 0), (2_500, 3_000), (5_000, 3_000)])
    intercepts = [round(chance.uniform(-10, 60), 1) for _ in range(2, HIGHEST + 1)]
    found = []
    for order, intercept in zip(range(2, HIGHEST + 1), intercepts):
        matrix = tables[len(carriers), order]
        hertz = np.abs(matrix @ np.array(carriers, dtype=np.int64))
        dbm = levels(matrix, np.array(powers), order, intercept)
        width = 2 * (order * deviation + audio) if deviation else 0
        for number, (centre, bandwidth) in enumerate(receivers):
            hit = 2 * np.abs(hertz - centre) <= bandwidth + width
            found.append(
                {
                    "order": order,
                    "receiver": number,
                    "hits": int(hit.sum()),
                    "hertz_in_all": int(hertz[hit].sum()),
                    "strongest_dbm": float(dbm[hit].max()) if hit.any() else None,
                }
            )
    return {
        "carriers_hz": carriers,
        "levels_dbm": powers,
        "receivers_hz": receivers,
        "deviation_hz": deviation,
        "audio_hz": audio,
        "intercepts_dbm": intercepts,
        "found": found,
    }


if __name__ == "__main__":
    chance = random.Random(7)
    orders = range(2, HIGHEST + 1)
    tables = {key: vectors(*key) for key in itertools.product(range(1, 6), orders)}
    counts = [
        {"carriers": n, "order": order, "products": len(table)}
        for (n, order), table in tables.items()
    ]
    cases = [case(chance, tables) for _ in range(CASES)]
    print(json.dumps({"counts": counts, "cases": cases}))
