"""Solves random weighted least-squares systems with numpy and scipy and prints them as JSON.

numpy.linalg.lstsq solves the rows divided by their spread with the priors below them, scipy's
lsq_linear solves them again, inv gives the covariance, scipy.stats.chi2 the chance; what an
observation lies off is a fit without it. Nothing here knows the project; the Rust test beside it
compares.
"""

import json

import numpy as np
from scipy.optimize import lsq_linear
from scipy.stats import chi2, norm


def solved(rows, right):
    found, *_ = np.linalg.lstsq(rows, right, rcond=None)
    again = lsq_linear(rows, right, tol=1e-14).x
    assert np.allclose(found, again, rtol=1e-6, atol=1e-6), (found, again)
    return found


def system(chance, number):
    unknowns = int(chance.integers(1, 9))
    held = chance.random(unknowns) < 0.7
    # Enough observations for the unknowns that have no prior, most of the time a few more.
    observed = int(max(1, unknowns - held.sum()) + chance.integers(1, 7))
    factors = np.where(chance.random((observed, unknowns)) < 0.6, chance.normal(size=(observed, unknowns)), 0.0)
    for column in np.flatnonzero(~held):
        factors[column % observed, column] += 2.0
    # Chains have spreads from hundredths to tens of a decibel.
    standards = 10 ** chance.uniform(-1.5, 0.5, observed)
    means, spreads = chance.uniform(-120, 60, unknowns), 10 ** chance.uniform(-1.5, 1.2, unknowns)
    truth = means + spreads * chance.normal(size=unknowns)
    values = factors @ truth + standards * chance.normal(size=observed)
    if number % 3 == 0:
        values[0] += 30.0

    priors = np.eye(unknowns)[held] / spreads[held, None]
    rows = np.vstack([factors / standards[:, None], priors])
    right = np.concatenate([values / standards, means[held] / spreads[held]])
    if np.linalg.matrix_rank(rows) < unknowns or np.linalg.cond(rows) > 1e6:
        return None
    found = solved(rows, right)
    covariance = np.linalg.inv(rows.T @ rows)
    residuals = values - factors @ found
    # The covariance of the residuals: what was observed less what is known of the fit.
    of_residuals = np.diag(standards**2) - factors @ covariance @ factors.T
    freedom = len(right) - unknowns
    chi_square = float(np.sum((right - rows @ found) ** 2))
    off = []
    for n in range(observed):
        others = np.delete(rows, n, axis=0)
        if np.linalg.matrix_rank(others) < unknowns or np.linalg.cond(others) > 1e6:
            off.append(None)
            continue
        off.append(float(values[n] - factors[n] @ solved(others, np.delete(right, n))))
    return {
        "means": [float(m) if h else None for m, h in zip(means, held)],
        "spreads": [float(s) if h else None for s, h in zip(spreads, held)],
        "factors": factors.tolist(),
        "values": values.tolist(),
        "standards": standards.tolist(),
        "estimates": found.tolist(),
        "covariance": covariance.tolist(),
        "residuals": residuals.tolist(),
        "residual_standards": np.sqrt(np.clip(np.diag(of_residuals), 0, None)).tolist(),
        "off": off,
        "chi_square": chi_square,
        "degrees_of_freedom": freedom,
        "chance": float(chi2.sf(chi_square, freedom)) if freedom > 0 else None,
    }


def tails(chance):
    freedoms = [1, 2, 3, 5, 8, 9, 20, 61, 200]
    cases = []
    for freedom in freedoms:
        for value in chance.uniform(0, 6, 40) ** 2 * freedom / 6:
            cases.append([freedom, float(value), float(chi2.sf(value, freedom))])
    return cases


if __name__ == "__main__":
    chance = np.random.default_rng(3)
    systems = []
    number = 0
    while len(systems) < 1200:
        number += 1
        case = system(chance, number)
        if case is not None:
            systems.append(case)
    normals = [[float(z), float(norm.cdf(z))] for z in chance.uniform(-8, 8, 200)]
    print(json.dumps({"systems": systems, "tails": tails(chance), "normals": normals}))
