"""Reads the Touchstone files of a folder with scikit-rf and prints what it has read, as JSON.

Called with the folder; every file in it is read, in the order of their names. Nothing here knows
what wrote them.
"""

import contextlib
import json
import pathlib
import sys

# It tells standard output that it found nothing to draw with; there the JSON goes.
with contextlib.redirect_stdout(sys.stderr):
    import skrf

answer = []
for file in sorted(pathlib.Path(sys.argv[1]).iterdir()):
    with contextlib.redirect_stdout(sys.stderr):
        network = skrf.Network(str(file))
    answer.append(
        {
            "name": file.name,
            "hertz": network.f.tolist(),
            "ohms": network.z0[0].real.tolist(),
            "real": network.s.real.reshape(-1).tolist(),
            "imaginary": network.s.imag.reshape(-1).tolist(),
        }
    )
print(json.dumps(answer))
