"""Makes the demonstration's sweeps of a VHF duplexer from a model of its cavities. All invented.

A path is two cavities along a line, a quarter wave apart. A cavity hangs across the line as a
series resonator (the notch) with a reactance beside it that turns it into an open circuit at the
frequency that passes. `transmit-later.s2p` is the same path a season on: notches 40 kHz up, and a
joint that costs 0.15 dB more. Plain arithmetic, no instrument's noise; run it to make them anew.
"""

import cmath
import math
import pathlib

TRANSMIT_HZ, RECEIVE_HZ = 158_600_000, 153_400_000
REFERENCE_OHM = 50.0
# The notch resonators' slope and unloaded Q, and what connectors and jumpers cost.
SLOPE_OHM, UNLOADED_Q, FIXED_LOSS_DB = 700.0, 3600.0, 0.75
# The cavities of a path are never tuned exactly alike: how far each notch and each pass is off.
SPREAD_HZ = ((-6_000, 500_000), (7_000, 350_000))


def times(a, b):
    return (
        a[0] * b[0] + a[1] * b[2],
        a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2],
        a[2] * b[1] + a[3] * b[3],
    )


def resonator(hertz, notch_hz):
    """Impedance of the series resonator."""
    off = hertz / notch_hz - notch_hz / hertz
    return complex(SLOPE_OHM / UNLOADED_Q, SLOPE_OHM * off)


def cavity(hertz, pass_hz, notch_hz):
    """The chain matrix of one cavity across the line."""
    at_pass = resonator(pass_hz, notch_hz).imag
    # What cancels the resonator at the pass: a capacitor over its notch, an inductor under it.
    scale = hertz / pass_hz if at_pass > 0 else pass_hz / hertz
    admittance = 1 / resonator(hertz, notch_hz) + 1j * scale / at_pass
    return (1, 0, admittance, 1)


def line(hertz, quarter_hz, loss_db):
    """The chain matrix of a quarter wave of line with so much loss."""
    gamma = complex(loss_db / (20 * math.log10(math.e)), math.pi / 2 * hertz / quarter_hz)
    ohm = REFERENCE_OHM
    return (cmath.cosh(gamma), ohm * cmath.sinh(gamma), cmath.sinh(gamma) / ohm, cmath.cosh(gamma))


def path(hertz, pass_hz, notch_hz, loss_db):
    """S11, S21, S12 and S22 of a path."""
    chain = line(hertz, pass_hz, loss_db / 3)
    for notch_off_hz, pass_off_hz in SPREAD_HZ:
        chain = times(chain, cavity(hertz, pass_hz + pass_off_hz, notch_hz + notch_off_hz))
        chain = times(chain, line(hertz, pass_hz, loss_db / 3))
    a, b, c, d = chain
    b, c = b / REFERENCE_OHM, c * REFERENCE_OHM
    whole = a + b + c + d
    return (a + b - c - d) / whole, 2 / whole, 2 / whole, (-a + b - c + d) / whole


def write(name, title, pass_hz, notch_hz, loss_db):
    lines = [
        f"! Invented numbers: {title}. Made by make.py from a model of its cavities.",
        "! In at port 1 (the radio), out at port 2 (the antenna); the third port terminated.",
        "# MHz S DB R 50",
    ]
    for step in range(601):
        hertz = 150_000_000 + step * 20_000
        pairs = [
            f"{20 * math.log10(abs(s)):.4f} {math.degrees(cmath.phase(s)):.3f}"
            for s in path(hertz, pass_hz, notch_hz, loss_db)
        ]
        lines.append(f"{hertz / 1e6:.2f} " + " ".join(pairs))
    pathlib.Path(__file__).with_name(name).write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    write("transmit.s2p", "a VHF duplexer's transmit path", TRANSMIT_HZ, RECEIVE_HZ, FIXED_LOSS_DB)
    write("receive.s2p", "a VHF duplexer's receive path", RECEIVE_HZ, TRANSMIT_HZ, FIXED_LOSS_DB)
    later = "the same transmit path a season later"
    write("transmit-later.s2p", later, TRANSMIT_HZ, RECEIVE_HZ + 40_000, FIXED_LOSS_DB + 0.15)
