"""Computes check values for audio with scipy and prints them as JSON, samples in base64.

scipy fits the four-parameter sine by its own least squares, designs the weighting filters in the
time domain, and finds the zeros of J0; numpy makes frequency-modulated carriers. Nothing here knows
the project; the Rust test beside it compares.
"""

import base64
import json

import numpy as np
from scipy.optimize import least_squares
from scipy.signal import fftconvolve, firwin2
from scipy.special import jn_zeros

# HANDBOOK 9.3, typed here a second time.
PSOPHOMETRIC = (
    "16.6 -85 50 -63 100 -41 200 -21 300 -10.6 400 -6.3 500 -3.6 600 -2 700 -0.9 800 0 900 0.6 "
    "1000 1 1200 0 1400 -0.9 1600 -1.7 1800 -2.4 2000 -3 2500 -4.2 3000 -5.6 3500 -8.5 4000 -15 "
    "4500 -25 5000 -36 6000 -43"
)
C_MESSAGE = (
    "60 -55.7 100 -42.5 200 -25.1 300 -16.3 400 -11.2 500 -7.7 600 -5 700 -2.8 800 -1.3 900 -0.3 "
    "1000 0 1200 -0.4 1300 -0.7 1500 -1.2 1800 -1.3 2000 -1.1 2500 -1.1 2800 -2 3000 -3 3300 -5.1 "
    "3500 -7.1 4000 -14.6 4500 -22.3 5000 -28.7"
)


def packed(samples, kind):
    return base64.b64encode(np.asarray(samples).astype(kind).tobytes()).decode()


def fitted(y, rate, start):
    """Frequency, amplitude, offset and S/(N+D) of the best sine, by scipy."""
    time = np.arange(len(y)) - (len(y) - 1) / 2

    def model(p):
        angle = 2 * np.pi * (start / rate + p[3] / len(y)) * time
        return p[0] * np.cos(angle) + p[1] * np.sin(angle) + p[2]

    def slopes(p):
        angle = 2 * np.pi * (start / rate + p[3] / len(y)) * time
        cos, sin = np.cos(angle), np.sin(angle)
        turn = 2 * np.pi * time / len(y) * (p[1] * cos - p[0] * sin)
        return np.stack([cos, sin, np.ones(len(y)), turn], axis=1)

    angle = 2 * np.pi * start / rate * time
    columns = np.stack([np.cos(angle), np.sin(angle), np.ones(len(y))], axis=1)
    first = [*np.linalg.lstsq(columns, y, rcond=None)[0], 0.0]
    exact = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15}
    found = least_squares(lambda p: model(p) - y, first, jac=slopes, method="lm", **exact)
    a, b, offset, turns = found.x
    rest = np.mean((y - model(found.x)) ** 2)
    return {
        "frequency_hz": start + turns / len(y) * rate,
        "amplitude": float(np.hypot(a, b)),
        "offset": float(offset),
        "signal_over_rest_db": float(10 * np.log10((a * a + b * b) / 2 / rest)),
    }


def fits(chance, count):
    cases = []
    for _ in range(count):
        rate = int(chance.choice([8000, 16000, 44100, 48000]))
        tone = chance.uniform(300, 3000)
        least = max(64, int(np.ceil(12 * rate / tone)))
        samples = int(chance.integers(least, least + 1200))
        time = np.arange(samples) / rate
        noise = 10 ** chance.uniform(-4, -0.6)
        y = np.sin(2 * np.pi * tone * time + chance.uniform(0, 6.28))
        y += chance.uniform(0, 0.1) * np.sin(4 * np.pi * tone * time + chance.uniform(0, 6.28))
        y = 0.5 * y + chance.uniform(-0.2, 0.2) + 0.3 * noise * chance.standard_normal(samples)
        steps = np.clip(np.round(y * 32768), -32768, 32767)
        cases.append(
            {
                "rate_hz": rate,
                "tone_hz": tone * chance.uniform(0.995, 1.005),
                "samples_i16": packed(steps, "<i2"),
                **fitted(steps / 32768, rate, tone),
            }
        )
    return cases


def weighting_filter(rows, rate):
    """A linear-phase filter with the table's gains, lines over log f between them."""
    numbers = np.array(rows.split(), dtype=float).reshape(-1, 2)
    grid = np.linspace(0, rate / 2, 4001)
    gain = np.interp(np.log(np.maximum(grid, 1)), np.log(numbers[:, 0]), numbers[:, 1])
    return firwin2(4097, grid, 10 ** (gain / 20), fs=rate)


def weighted(chance, count):
    rate = 16000
    filters = {"psophometric": PSOPHOMETRIC, "c-message": C_MESSAGE}
    filters = {name: weighting_filter(rows, rate) for name, rows in filters.items()}
    cases = []
    for number in range(count):
        name = ["psophometric", "c-message"][number % 2]
        tone = chance.uniform(600, 1400)
        time = np.arange(24000) / rate
        y = 0.4 * np.sin(2 * np.pi * tone * time)
        y += 0.02 * np.sin(4 * np.pi * tone * time) + 0.05 * np.sin(2 * np.pi * 150 * time)
        y += 10 ** chance.uniform(-2.5, -1) * chance.standard_normal(len(time))
        steps = np.clip(np.round(y * 32768), -32768, 32767)
        through = fftconvolve(steps / 32768, filters[name], mode="valid")
        cases.append(
            {
                "rate_hz": rate,
                "tone_hz": tone,
                "weighting": name,
                "samples_i16": packed(steps, "<i2"),
                "signal_over_rest_db": fitted(through, rate, tone)["signal_over_rest_db"],
            }
        )
    return cases


def carriers(chance, count):
    cases = []
    for _ in range(count):
        rate = int(chance.choice([48000, 96000]))
        tone = chance.uniform(400, 1500)
        deviation = chance.uniform(300, 5000)
        offset = chance.uniform(-1000, 1000)
        time = np.arange(4800) / rate
        phase = 2 * np.pi * offset * time + deviation / tone * np.sin(2 * np.pi * tone * time)
        carrier = 0.7 * np.exp(1j * (phase + chance.uniform(0, 6.28)))
        parts = np.stack([carrier.real, carrier.imag], axis=1).ravel()
        cases.append(
            {
                "rate_hz": rate,
                "tone_hz": tone,
                "deviation_hz": deviation,
                "offset_hz": offset,
                "data_base64": packed(parts, "<f4"),
            }
        )
    return cases


if __name__ == "__main__":
    chance = np.random.default_rng(603)
    print(
        json.dumps(
            {
                "zeros": [float(zero) for zero in jn_zeros(0, 5)],
                "fits": fits(chance, 1000),
                "weighted": weighted(chance, 40),
                "carriers": carriers(chance, 100),
            }
        )
    )
