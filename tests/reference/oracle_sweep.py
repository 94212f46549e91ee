"""Random networks as Touchstone text with the S parameters that scikit-rf has for them, as JSON.

Method: scikit-rf turns random scattering matrices into the parameters of each file; the text is
written here, in every unit, format, matrix layout and version; then scikit-rf reads that text, and
what it reads is the expected result. Three things it reads otherwise than the specification has
them, so that there the network the text was written from is the result (`by` says "written from"):
version 1 Y, H and G (it multiplies all of them by the reference resistance) and half matrices of a
two-port in the order 21_12 (it leaves a cell unset). Interpolation: numpy on dB and on phase.
"""

import contextlib
import io
import json
import math
import random
import sys

import numpy

# It tells standard output that it found nothing to draw with; there the JSON goes.
with contextlib.redirect_stdout(sys.stderr):
    import skrf
    from skrf.io.touchstone import Touchstone

UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}
TO = {"Z": skrf.network.s2z, "Y": skrf.network.s2y, "H": skrf.network.s2h, "G": skrf.network.s2g}
# What version 1 divides by: row and column, in powers of the reference resistance.
NORMAL = {
    "Z": lambda row, column: 1,
    "Y": lambda row, column: -1,
    "H": lambda row, column: [[1, 0], [0, -1]][row][column],
    "G": lambda row, column: [[-1, 0], [0, 1]][row][column],
}


def matrices(chance, ports, points, kind):
    """Random passive-looking matrices; symmetric ones for half matrices."""
    made = []
    for _ in range(points):
        matrix = numpy.array(
            [
                [
                    10 ** chance.uniform(-4, -0.1) * numpy.exp(1j * chance.uniform(-math.pi, math.pi))
                    for _ in range(ports)
                ]
                for _ in range(ports)
            ]
        )
        # Well away from the poles of the other parameters.
        made.append(matrix * (0.5 if kind != "S" else 1.0))
    return numpy.array(made)


def pair(chance, value, form):
    if form == "RI":
        return f"{float(value.real)!r} {float(value.imag)!r}"
    degrees = math.degrees(math.atan2(value.imag, value.real))
    size = abs(value)
    if form == "MA":
        return f"{float(size)!r} {degrees:.15e}"
    return f"{20 * math.log10(size):.15f} {degrees!r}"


def cells(ports, layout, swapped):
    if layout == "Lower":
        return [(row, column) for row in range(ports) for column in range(row + 1)]
    if layout == "Upper":
        return [(row, column) for row in range(ports) for column in range(row, ports)]
    if ports == 2 and swapped:
        return [(0, 0), (1, 0), (0, 1), (1, 1)]
    return [(row, column) for row in range(ports) for column in range(ports)]


def mixed_case(chance, text):
    return chance.choice([text, text.lower(), text.upper()])


def case(chance, number):
    second = number % 2 == 1
    kind = chance.choice("SSSSSSZYHG")
    ports = 2 if kind in "HG" else chance.choice([1, 2, 2, 2, 3, 4, 5, 6, 8])
    layout = chance.choice(["Full", "Full", "Lower", "Upper"]) if second and kind in "SZY" else "Full"
    swapped = chance.choice([True, False]) if second else True
    points = chance.choice([1, 1, 3])
    unit, form = chance.choice(list(UNITS)), chance.choice(["RI", "MA", "DB"])
    ohm = chance.choice([50.0, 75.0, 1.0, 12.5, 600.0])
    ohms = [chance.choice([ohm, 50.0, 75.0, 0.01]) for _ in range(ports)] if second else [ohm] * ports
    s = matrices(chance, ports, points, kind)
    if layout != "Full":
        s = (s + s.transpose(0, 2, 1)) / 2
    values = s if kind == "S" else TO[kind](s, numpy.broadcast_to(ohms, (points, ports)).copy())
    if layout != "Full":
        values = (values + values.transpose(0, 2, 1)) / 2
    if kind != "S" and not second:
        power = [[NORMAL[kind](r, c) for c in range(ports)] for r in range(ports)]
        values = values / ohm ** numpy.array(power, dtype=float)
    frequencies = sorted(chance.sample(range(1, 100000), points))
    text = written(chance, second, kind, unit, form, ohm, ohms, layout, swapped, frequencies, values)
    odd = (not second and kind in "YHG") or (layout != "Full" and ports == 2 and swapped)
    read = None if odd else read_by_scikit_rf(text, second, ports)
    expected = s if read is None else read.s
    hertz = [at * UNITS[unit] for at in frequencies] if read is None else read.f.tolist()
    return {
        "text": text,
        "ports": None if second else ports,
        "by": "written from" if read is None else "scikit-rf reads",
        "ohms": ohms,
        "hertz": hertz,
        "real": expected.real.reshape(-1).tolist(),
        "imaginary": expected.imag.reshape(-1).tolist(),
    }


def written(chance, second, kind, unit, form, ohm, ohms, layout, swapped, frequencies, values):
    ports = len(ohms)
    option = f"# {mixed_case(chance, unit)} {mixed_case(chance, kind)} {mixed_case(chance, form)} R {ohm}"
    lines = ["! invented", option]
    if second:
        lines = ["[Version] 2.0", option, f"[Number of Ports] {ports}"]
        if ports == 2:
            lines.append(f"[Two-Port Data Order] {'21_12' if swapped else '12_21'}")
        lines += [f"[Number of Frequencies] {len(frequencies)}", "[Reference] " + str(ohms[0])]
        # The rest of the references on lines of their own.
        lines += [str(other) for other in ohms[1:]]
        lines += [f"[Matrix Format] {layout}", "[Network Data]"]
    for at, matrix in zip(frequencies, values):
        pairs = [pair(chance, matrix[cell], form) for cell in cells(ports, layout, swapped)]
        width = chance.choice([1, 3, 4, ports]) if ports > 2 else 4
        rows = [pairs[n : n + width] for n in range(0, len(pairs), width)]
        blank = chance.choice([" ", "\t", "  "])
        for n, row in enumerate(rows):
            lines.append((f"{at}{blank}" if n == 0 else blank) + blank.join(row) + "! row")
    if second:
        lines.append("[End]")
    return chance.choice(["\n", "\r\n"]).join(lines) + "\n"


def read_by_scikit_rf(text, second, ports):
    file = io.StringIO(text.replace("\r\n", "\n"))
    file.name = "case.ts" if second else f"case.s{ports}p"
    return Touchstone(file)


def interpolations(chance):
    """A sweep and points between, magnitude linear in dB and phase unwrapped, by numpy."""
    found = []
    for _ in range(20):
        hertz = numpy.sort(numpy.array(chance.sample(range(100_000_000, 900_000_000), 30)) * 1.0)
        decibels = numpy.array([chance.uniform(-110, 0) for _ in hertz])
        # Steps of less than half a turn, or nobody knows which way it went.
        steps = [chance.uniform(-3.0, 3.0) for _ in hertz]
        phase = numpy.cumsum(steps)
        wanted = sorted(chance.uniform(hertz[0], hertz[-1]) for _ in range(60))
        value = 10 ** (decibels / 20) * numpy.exp(1j * phase)
        between = 10 ** (numpy.interp(wanted, hertz, decibels) / 20) * numpy.exp(
            1j * numpy.interp(wanted, hertz, phase)
        )
        found.append(
            {
                "hertz": hertz.tolist(),
                "real": value.real.tolist(),
                "imaginary": value.imag.tolist(),
                "wanted": wanted,
                "got_real": between.real.tolist(),
                "got_imaginary": between.imag.tolist(),
            }
        )
    return found


def cavities(chance):
    """Resonators as networks of scikit-rf: loss and Q of its own fit are the expected results."""
    found = []
    for _ in range(40):
        tuned, loaded = chance.uniform(30e6, 900e6), chance.uniform(80, 3000)
        unloaded = loaded * chance.uniform(1.5, 40)
        width = tuned / loaded
        hertz = numpy.linspace(tuned - 2.1 * width, tuned + 1.9 * width, 401)
        peak = 1 - loaded / unloaded
        through = peak / (1 + 1j * loaded * (hertz / tuned - tuned / hertz))
        s = numpy.zeros((len(hertz), 2, 2), dtype=complex)
        s[:, 1, 0] = s[:, 0, 1] = through
        s[:, 0, 0] = s[:, 1, 1] = 1 - through
        network = skrf.Network(f=hertz, s=s, z0=50, f_unit="Hz")
        fit = skrf.Qfactor(network.s21, res_type="transmission")
        fitted = fit.fit(method="NLQFIT6")
        found.append(
            {
                "hertz": hertz.tolist(),
                "real": s.real.reshape(-1).tolist(),
                "imaginary": s.imag.reshape(-1).tolist(),
                "loaded_q": float(fitted["Q_L"]),
                "tuned": float(fitted["f_L"]),
                "unloaded_q": float(fit.Q_unloaded(fitted, A=1.0)),
            }
        )
    return found


def ratios(chance):
    found = []
    for _ in range(300):
        s = 10 ** chance.uniform(-5, -0.001) * numpy.exp(1j * chance.uniform(-3.1, 3.1))
        network = skrf.Network(f=[1e9], s=[[[s]]], z0=50, f_unit="Hz")
        found.append(
            {
                "real": s.real,
                "imaginary": s.imag,
                "db": float(network.s_db[0, 0, 0]),
                "vswr": float(network.s_vswr[0, 0, 0]),
            }
        )
    return found


if __name__ == "__main__":
    chance = random.Random(1558)
    with contextlib.redirect_stdout(sys.stderr):
        answer = {
            "files": [case(chance, number) for number in range(1400)],
            "interpolations": interpolations(chance),
            "cavities": cavities(chance),
            "ratios": ratios(chance),
        }
    print(json.dumps(answer))
