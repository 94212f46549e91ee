"""Computes mismatch, lines, noise and paths with scikit-rf and scipy and prints them as JSON.

scikit-rf turns reflections into VSWR and return loss, ends a lossy line in a load and propagates
voltage and current along it, and cascades noisy two-ports by their correlation matrices; scipy has
the constants and the arcsine distribution. Nothing here knows the project; the Rust test beside it
compares. Every case is drawn from one seed.
"""

import contextlib
import json
import random
import sys

import numpy as np
import scipy.constants
import scipy.optimize
import scipy.stats

# It tells standard output that it found nothing to draw with; there the JSON goes.
with contextlib.redirect_stdout(sys.stderr):
    import skrf

ONE_POINT = skrf.Frequency(155, 155, 1, "MHz")


def db_power(ratio):
    return float(10 * np.log10(ratio))


def mismatches(chance, count):
    """A one-port of random phase: its VSWR, return loss, and the power it takes."""
    cases = []
    for _ in range(count):
        magnitude = chance.uniform(0.001, 0.995)
        gamma = magnitude * np.exp(2j * np.pi * chance.random())
        port = skrf.Network(frequency=ONE_POINT, s=[[[gamma]]], z0=50)
        impedance = port.z[0, 0, 0]
        # Power taken from a 50 ohm source, over the power a matched load would take.
        current = 2 / (50 + impedance)
        taken = abs(current) ** 2 * impedance.real / (1 / 50)
        cases.append(
            {
                "reflection": magnitude,
                "vswr": float(port.s_vswr[0, 0, 0]),
                "return_loss_db": -float(port.s_db[0, 0, 0]),
                "mismatch_loss_db": -db_power(taken),
            }
        )
    return cases


def mismatch_errors(chance, count):
    """Source and load of random phase behind a pad: the extremes over phase, and their spread."""
    phases = np.exp(2j * np.pi * np.arange(3600) / 3600)
    cases = []
    for _ in range(count):
        source, load = chance.uniform(0.01, 0.5), chance.uniform(0.01, 0.5)
        between_db = chance.choice([0.0, chance.uniform(0.1, 10)])
        pad = skrf.media.DefinedGammaZ0(ONE_POINT, z0=50).attenuator(-between_db)
        end = skrf.Network(frequency=ONE_POINT, s=[[[load]]], z0=50)
        seen = abs((pad**end).s[0, 0, 0])
        errors = 20 * np.log10(np.abs(1 - source * seen * phases))
        half = source * seen
        arcsine = scipy.stats.arcsine(loc=-half, scale=2 * half)
        cases.append(
            {
                "source": source,
                "load": load,
                "between_db": between_db,
                "most_db": float(errors.max()),
                "least_db": float(errors.min()),
                # The spread of the voltage error, in dB by the exact factor 20/ln 10.
                "standard_db": float(arcsine.std() * 20 / np.log(10)),
            }
        )
    return cases


def lines(chance, count):
    """A lossy line with a load: power in over power out, and the reflection at the input."""
    cases = []
    for _ in range(count):
        matched_db = chance.uniform(0.01, 15)
        magnitude = chance.uniform(0.0, 0.98)
        gamma = magnitude * np.exp(2j * np.pi * chance.random())
        turns = chance.uniform(0, 6)
        theta = matched_db * np.log(10) / 20 + 2j * np.pi * turns
        at_input = skrf.tlineFunctions.load_impedance_2_reflection_coefficient_at_theta(
            50, skrf.tlineFunctions.reflection_coefficient_2_input_impedance(50, gamma), theta
        )
        impedance = skrf.tlineFunctions.reflection_coefficient_2_input_impedance(50, at_input)
        voltage, current = skrf.tlineFunctions.voltage_current_propagation(
            1.0, 1.0 / impedance, 50, theta
        )
        power_in = (1.0 * np.conj(1.0 / impedance)).real
        power_out = (voltage * np.conj(current)).real
        cases.append(
            {
                "matched_db": matched_db,
                "reflection": magnitude,
                "total_db": db_power(float(np.ravel(power_in / power_out)[0])),
                "input_vswr": float(np.ravel((1 + abs(at_input)) / (1 - abs(at_input)))[0]),
            }
        )
    return cases


def fits(chance, count):
    """k1 and k2 from two to six points by a bounded least-squares solver."""
    cases = []
    for _ in range(count):
        k1, k2 = chance.uniform(0.05, 2), chance.choice([0.0, chance.uniform(0, 0.01)])
        frequencies = sorted(chance.sample(range(30, 1000), chance.randint(2, 6)))
        losses = [
            (k1 * f**0.5 + k2 * f) * (1 + chance.uniform(-0.01, 0.01)) for f in frequencies
        ]
        rows = [[f**0.5 / loss, f / loss] for f, loss in zip(frequencies, losses)]
        fitted = scipy.optimize.lsq_linear(
            np.array(rows), np.ones(len(rows)), bounds=(0, np.inf), method="bvls", tol=1e-14
        )
        cases.append(
            {
                "frequencies_mhz": frequencies,
                "losses_db": losses,
                "k1": float(fitted.x[0]),
                "k2": float(fitted.x[1]),
            }
        )
    return cases


def noisy(gain_db, figure_db):
    stage = skrf.Network(
        frequency=ONE_POINT, s=[[[0, 0], [10 ** (gain_db / 20), 0]]], z0=50
    )
    stage.set_noise_a(ONE_POINT, nfmin_db=figure_db, gamma_opt=0, rn=10)
    return stage


def cascades(chance, count):
    """Noisy two-ports in a row, by correlation matrices."""
    cases = []
    for _ in range(count):
        stages = [
            (chance.uniform(-8, 25), chance.uniform(0.2, 12)) for _ in range(chance.randint(2, 6))
        ]
        row = noisy(*stages[0])
        for stage in stages[1:]:
            row = row ** noisy(*stage)
        cases.append(
            {
                "gains_db": [gain for gain, _ in stages],
                "figures_db": [figure for _, figure in stages],
                "figure_db": db_power(float(np.ravel(row.nf(50))[0])),
                "gain_db": float(row.s_db[0, 1, 0]),
            }
        )
    return cases


def noises(chance, count):
    cases = []
    for _ in range(count):
        bandwidth, temperature = chance.uniform(100, 1e6), chance.uniform(1, 5000)
        wanted = chance.uniform(-3, 20)
        thermal = scipy.constants.k * 290 * bandwidth
        noise = scipy.constants.k * (290 + temperature) * bandwidth
        cases.append(
            {
                "bandwidth_hz": bandwidth,
                "temperature_k": temperature,
                "wanted_db": wanted,
                "thermal_dbm": db_power(thermal / 1e-3),
                "sensitivity_dbm": db_power(noise * 10 ** (wanted / 10) / 1e-3),
            }
        )
    return cases


def sites(chance, count):
    """External noise and a receiver's own, added as powers."""
    cases = []
    for _ in range(count):
        external, own = chance.uniform(-3, 40), chance.uniform(0.5, 20)
        arrives = scipy.constants.k * 290 * 10 ** (external / 10)
        adds = scipy.constants.k * 290 * (10 ** (own / 10) - 1)
        cases.append(
            {
                "external_db": external,
                "own_db": own,
                "combined_db": db_power((arrives + adds) / (scipy.constants.k * 290)),
            }
        )
    return cases


def sinads(chance, count):
    """A tone, its harmonic and seeded noise as samples: powers by summing squares."""
    cases = []
    instants = np.arange(4800) / 48000
    generator = np.random.default_rng(155)
    for _ in range(count):
        tone = np.sin(2 * np.pi * 1000 * instants)
        harmonic = chance.uniform(0.001, 0.6) * np.sin(2 * np.pi * 3000 * instants)
        noise = chance.uniform(0.001, 0.5) * generator.standard_normal(4800)
        # What of the noise looks like the tone is tone: leave only what is at right angles to it.
        noise -= tone * (noise @ tone) / (tone @ tone)
        rest = harmonic + noise
        rest -= tone * (rest @ tone) / (tone @ tone)
        whole = np.sum((tone + rest) ** 2)
        cases.append(
            {
                "sinad_db": db_power(whole / np.sum(rest**2)),
                "signal_over_rest_db": db_power(np.sum(tone**2) / np.sum(rest**2)),
                "distortion_percent": float(100 * np.sqrt(np.sum(rest**2) / whole)),
            }
        )
    return cases


def paths(chance, count):
    """Free space by the spread over a sphere and an aperture; the horizon by a right triangle."""
    cases = []
    for _ in range(count):
        frequency, distance = chance.uniform(3e7, 1e9), chance.uniform(100, 1e5)
        wavelength = scipy.constants.c / frequency
        aperture = wavelength**2 / (4 * np.pi)
        height = chance.uniform(1, 3000)
        radius = 4 / 3 * 6371e3
        cases.append(
            {
                "frequency_hz": frequency,
                "distance_m": distance,
                "loss_db": -db_power(aperture / (4 * np.pi * distance**2)),
                "height_m": height,
                "horizon_m": float(np.sqrt((radius + height) ** 2 - radius**2)),
            }
        )
    return cases


if __name__ == "__main__":
    chance = random.Random(372)
    print(
        json.dumps(
            {
                "mismatches": mismatches(chance, 1500),
                "mismatch_errors": mismatch_errors(chance, 1000),
                "lines": lines(chance, 1500),
                "fits": fits(chance, 1000),
                "cascades": cascades(chance, 1000),
                "noises": noises(chance, 1000),
                "sites": sites(chance, 1000),
                "sinads": sinads(chance, 1000),
                "paths": paths(chance, 1000),
            }
        )
    )
