"""Computes check values for limits, designators and exposure, and prints them as JSON.

Python's decimal rounds the designators, scipy finds the distances as roots, pint turns the units,
and the tables of limits are typed here once more from the published text. Nothing here knows the
project; the Rust test beside it compares.
"""

import json
import math
import random
from decimal import ROUND_HALF_UP, Decimal

import pint
from scipy.optimize import brentq

UNITS = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)

# 47 CFR 90.213(a) Table 1: from and to MHz, base, mobile, portable, as HANDBOOK 2.1 prints it.
TABLE_1 = """
0 25 100 100 200
25 50 20 20 50
72 76 5 - 50
150 174 5 5 50
216 220 1.0 - 1.0
220 222 0.1 1.5 1.5
421 512 2.5 5 5
806 809 1.0 1.5 1.5
809 824 1.5 2.5 2.5
851 854 1.0 1.5 1.5
854 869 1.5 2.5 2.5
896 901 0.1 1.5 1.5
902 928 2.5 2.5 2.5
929 930 1.5 - -
935 940 0.1 1.5 1.5
1427 1435 300 300 300
"""
FOOTNOTE_4 = [(154.45, 154.49), (173.2, 173.4)]


def tolerances(chance):
    rows = [line.split() for line in TABLE_1.split("\n") if line]
    cases = []
    while len(cases) < 1200:
        row = chance.choice(rows)
        low, high = float(row[0]), float(row[1])
        carrier = chance.randint(max(int(low * 1e6), 100_000), int(high * 1e6))
        column = chance.randrange(3)
        fits = [r for r in rows if float(r[0]) * 1e6 <= carrier <= float(r[1]) * 1e6]
        cells = [float(r[2 + column]) for r in fits if r[2 + column] != "-"]
        if column == 2 and any(a * 1e6 <= carrier <= b * 1e6 for a, b in FOOTNOTE_4):
            cells.append(5.0)
        cases.append(
            {
                "carrier_hz": carrier,
                "station": ["base", "mobile", "portable"][column],
                "ppm": min(cells) if cells else None,
                "hz": float(Decimal(carrier) * Decimal(repr(min(cells))) / 1_000_000)
                if cells
                else None,
            }
        )
    return cases


def designator(hertz):
    value = Decimal(repr(hertz))
    if value < 1:
        value = value.quantize(Decimal("0.001"), ROUND_HALF_UP)
    else:
        value = value.quantize(Decimal(1).scaleb(value.adjusted() - 2), ROUND_HALF_UP)
    if value < 1:
        return "H" + f"{value:.3f}"[2:] if value else None
    for letter, unit in (("H", 1), ("K", 10**3), ("M", 10**6), ("G", 10**9)):
        scaled = value / unit
        if scaled < 1000:
            whole = str(int(scaled))
            return whole + letter + f"{scaled:.3f}".split(".")[1][: 3 - len(whole)]
    return None


def designators(chance):
    cases = []
    for n in range(2400):
        hertz = 10 ** chance.uniform(-3.5, 12.2)
        if n % 3 == 1:
            # Halves in the fourth figure, where binary and decimal rounding part.
            figures = chance.randint(100, 999) * 10 + 5
            hertz = float(Decimal(figures).scaleb(chance.randint(-6, 8)))
        elif n % 3 == 2:
            # Just under the next letter.
            hertz = float(Decimal(chance.randint(99_900, 100_000)).scaleb(chance.randint(-5, 6)))
        cases.append({"hz": hertz, "text": designator(hertz)})
    return cases


def bandwidths(chance):
    cases = []
    for _ in range(1000):
        highest = Decimal(chance.randint(100, 20_000))
        deviation = Decimal(chance.randint(100, 75_000))
        k = Decimal(chance.choice(["1", "1.2", "0.7"]))
        rate, shift = Decimal(chance.randint(30, 20_000)), Decimal(chance.randint(50, 10_000))
        cases.append(
            {
                "highest_hz": float(highest),
                "deviation_hz": float(deviation),
                "k": float(k),
                "fm_hz": float(2 * highest + 2 * deviation * k),
                "rate_bd": float(rate),
                "shift_hz": float(shift),
                "fsk_hz": float(2 * (rate / 2) + 2 * (shift / 2) * k),
            }
        )
    return cases


def fcc(mhz, workers):
    if workers:
        rows = [(0.3, 3, 100), (3, 30, 900 / mhz**2), (30, 300, 1), (300, 1500, mhz / 300)]
        rows.append((1500, 1e5, 5))
    else:
        rows = [(0.3, 1.34, 100), (1.34, 30, 180 / mhz**2), (30, 300, 0.2)]
        rows += [(300, 1500, mhz / 1500), (1500, 1e5, 1)]
    density = min(s for low, high, s in rows if low <= mhz <= high)
    return UNITS.Quantity(density, "mW/cm**2").to("W/m**2").magnitude


def icnirp(mhz, workers):
    times = 5 if workers else 1
    rows = [(30, 400, 2), (400, 2000, mhz / 200), (2000, 3e5, 10)]
    return min(s for low, high, s in rows if low <= mhz <= high) * times


def safety_code(mhz, workers):
    if workers:
        rows = [(10, 20, 10), (20, 48, 44.72 / math.sqrt(mhz)), (48, 100, 6.455)]
        rows += [(100, 6e3, 0.6455 * math.sqrt(mhz)), (6e3, 150e3, 50)]
    else:
        rows = [(10, 20, 2), (20, 48, 8.944 / math.sqrt(mhz)), (48, 300, 1.291)]
        rows += [(300, 6e3, 0.02619 * mhz**0.6834), (6e3, 150e3, 10)]
    return min(s for low, high, s in rows if low <= mhz <= high)


STANDARDS = {"fcc": (fcc, 0.3), "icnirp-2020": (icnirp, 30.1), "safety-code-6": (safety_code, 10.1)}
FACTORS = {"none": 1.0, "ground": 2.56, "full": 4.0}


def radiated(case):
    """Watts of EIRP, by levels."""
    dbm = UNITS.Quantity(case["power_w"] * case["duty"], "watt").to("dBm").magnitude
    level = UNITS.Quantity(dbm - case["loss_db"] + case["gain_dbi"], "dBm")
    return level.to("watt").magnitude


def density(case, distance):
    """By the field: E = sqrt(30·EIRP)/R, S = E²/(120·pi), and the factor of the reflection."""
    field = math.sqrt(30 * case["eirp_w"]) / distance
    return FACTORS[case["reflection"]] * field**2 / (120 * math.pi)


def exposures(chance):
    cases = []
    for _ in range(1000):
        standard = chance.choice(list(STANDARDS))
        table, lowest = STANDARDS[standard]
        workers = chance.random() < 0.5
        transmitters = []
        for _ in range(chance.randint(1, 4)):
            mhz = round(10 ** chance.uniform(math.log10(lowest), math.log10(90_000)), 3)
            case = {
                "frequency_hz": round(mhz * 1e6),
                "power_w": round(10 ** chance.uniform(-1, 3), 3),
                "duty": round(chance.uniform(0.05, 1), 3),
                "loss_db": round(chance.uniform(0, 6), 2),
                "gain_dbi": round(chance.uniform(-2, 18), 2),
                "reflection": chance.choice(list(FACTORS)),
                "distance_m": round(10 ** chance.uniform(-1, 3), 3),
            }
            case["eirp_w"] = radiated(case)
            limit = table(case["frequency_hz"] / 1e6, workers)
            case["limit_w_m2"] = limit
            case["density_w_m2"] = density(case, case["distance_m"])
            case["distance_to_limit_m"] = brentq(
                lambda r, case=case, limit=limit: math.log(density(case, r) / limit),
                1e-6,
                1e7,
                xtol=1e-13,
                rtol=1e-13,
            )
            transmitters.append(case)
        together = brentq(
            lambda r: math.log(sum(density(t, r) / t["limit_w_m2"] for t in transmitters)),
            1e-6,
            1e7,
            xtol=1e-13,
            rtol=1e-13,
        )
        cases.append(
            {
                "standard": standard,
                "tier": "workers" if workers else "public",
                "transmitters": transmitters,
                "fraction_total": sum(t["density_w_m2"] / t["limit_w_m2"] for t in transmitters),
                "distance_together_m": together,
            }
        )
    return cases


if __name__ == "__main__":
    chance = random.Random(90_213)
    print(
        json.dumps(
            {
                "tolerances": tolerances(chance),
                "designators": designators(chance),
                "bandwidths": bandwidths(chance),
                "exposures": exposures(chance),
            }
        )
    )
