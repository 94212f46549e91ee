"""Computes check values with independent libraries and prints them as JSON.

pint does the decibel units, scikit-rf cascades two-ports, uncertainties propagates errors with
shared inputs. Nothing here knows the project; the Rust test beside it compares.
"""

import contextlib
import json
import random
import sys

import pint
from uncertainties import ufloat

# It tells standard output that it found nothing to draw with; there the JSON goes.
with contextlib.redirect_stdout(sys.stderr):
    import skrf


def watts():
    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    powers = [1e-13, 1e-3, 0.25, 1.0, 5.0, 17.1, 17.5, 22.0, 50.0, 110.0, 1500.0]
    return [
        {"watts": power, "dbm": registry.Quantity(power, "watt").to("dBm").magnitude}
        for power in powers
    ]


def cascades():
    line = skrf.media.DefinedGammaZ0(skrf.Frequency(155, 155, 1, "MHz"), z0=50)
    cases = []
    for losses in ([1.5, 1.5], [0.3, 30.0], [0.2, 1.0, 0.1], [3.0, 10.0, 0.5, 1.0]):
        network = line.attenuator(-losses[0])
        for loss in losses[1:]:
            network = network ** line.attenuator(-loss)
        cases.append({"losses_db": losses, "loss_db": -float(network.s_db[0, 1, 0])})
    return cases


def chains(chance):
    cases = []
    for count in (1, 2, 3, 5):
        losses = [round(chance.uniform(0.1, 30), 2) for _ in range(count)]
        standards = [round(chance.uniform(0.01, 0.6), 3) for _ in range(count)]
        level = 0 - sum(ufloat(loss, standard) for loss, standard in zip(losses, standards))
        cases.append({"losses_db": losses, "standards_db": standards, "standard_db": level.std_dev})
    return cases


def differences(chance):
    cases = []
    for _ in range(6):
        shared = {f"shared-{n}": round(chance.uniform(0.05, 1), 3) for n in range(2)}
        first = {**shared, "only-first": round(chance.uniform(0.05, 1), 3)}
        second = {**shared, "only-second": round(chance.uniform(0.05, 1), 3)}
        errors = {name: ufloat(0, u) for name, u in {**first, **second}.items()}
        value = sum(errors[name] for name in first) - sum(errors[name] for name in second)
        cases.append({"first": first, "second": second, "standard": value.std_dev})
    return cases


if __name__ == "__main__":
    chance = random.Random(155)
    print(
        json.dumps(
            {
                "watts": watts(),
                "cascades": cascades(),
                "chains": chains(chance),
                "differences": differences(chance),
            }
        )
    )
