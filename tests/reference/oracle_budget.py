"""Budgets, coverage factors and risks from scipy and GTC, printed as JSON.

scipy gives Student's t, the normal and the bivariate normal distribution; GTC combines inputs with
degrees of freedom and correlations after the GUM. Nothing here knows the project; the Rust test
beside it compares. Every case is drawn from one seeded generator.
"""

import json
import math
import random

import GTC
import numpy
from scipy import stats

TWO_SIGMA = 0.9544997361036416


def coverage_factors(chance):
    cases = []
    for _ in range(1200):
        dof = 10 ** chance.uniform(0, 4)
        coverage = chance.choice([0.5, 0.6827, 0.9, 0.95, TWO_SIGMA, 0.99, 0.9973, 0.9999])
        k = float(stats.t.isf((1 - coverage) / 2, dof))
        cases.append({"dof": dof, "coverage": coverage, "k": k})
    return cases


def probabilities(chance):
    cases = []
    for _ in range(1200):
        dof = 10 ** chance.uniform(0, 4)
        t = chance.uniform(-12, 12)
        cases.append({"dof": dof, "t": t, "below": float(stats.t.cdf(t, dof)),
                      "normal": float(stats.norm.cdf(t))})
    return cases


def conformities(chance):
    cases = []
    for _ in range(1200):
        value, standard = chance.uniform(-5, 5), 10 ** chance.uniform(-2, 1)
        low, high = sorted((chance.uniform(-6, 6), chance.uniform(-6, 6)))
        sides = chance.choice(["low", "high", "both"])
        dof = chance.choice([None, 10 ** chance.uniform(0, 3)])
        spread = stats.norm(value, standard) if dof is None else stats.t(dof, value, standard)
        below = float(spread.cdf(low)) if sides != "high" else 0.0
        above = float(spread.sf(high)) if sides != "low" else 0.0
        cases.append({"value": value, "standard": standard, "dof": dof,
                      "low": low if sides != "high" else None,
                      "high": high if sides != "low" else None, "conformity": 1 - below - above})
    return cases


def possible_correlations(chance, count):
    """A correlation matrix that can be: of random directions."""
    rows = numpy.array([[chance.gauss(0, 1) for _ in range(count + 1)] for _ in range(count)])
    covariance = rows @ rows.T
    scale = numpy.sqrt(numpy.diag(covariance))
    return covariance / numpy.outer(scale, scale)


def budgets(chance):
    """Independent inputs with degrees of freedom, and correlated ones without."""
    cases = []
    for index in range(1200):
        count = chance.randint(1, 6)
        correlated = index % 2 == 1 and count > 1
        inputs, quantities = [], []
        for number in range(count):
            standard = 10 ** chance.uniform(-3, 1)
            sensitivity = chance.uniform(-3, 3)
            dof = None if correlated or chance.random() < 0.4 else chance.randint(1, 60)
            inputs.append({"standard": standard, "sensitivity": sensitivity, "dof": dof})
            quantities.append(
                GTC.ureal(0, standard, math.inf if dof is None else dof, independent=not correlated)
            )
        pairs = []
        if correlated:
            matrix = possible_correlations(chance, count)
            for one in range(count):
                for two in range(one):
                    r = float(matrix[one, two])
                    GTC.set_correlation(r, quantities[one], quantities[two])
                    pairs.append([one, two, r])
        result = sum(line["sensitivity"] * q for line, q in zip(inputs, quantities))
        dof = float(GTC.dof(result))
        k = 2.0 if math.isinf(dof) else float(stats.t.isf((1 - TWO_SIGMA) / 2, dof))
        cases.append({"inputs": inputs, "pairs": pairs, "combined": float(GTC.uncertainty(result)),
                      "dof": None if math.isinf(dof) else dof, "k": k})
    return cases


def repeats(chance):
    cases = []
    for _ in range(1000):
        values = [chance.gauss(-120, 0.4) for _ in range(chance.randint(2, 12))]
        estimate = GTC.type_a.estimate(values)
        cases.append({"values": values, "mean": float(GTC.value(estimate)),
                      "standard": float(GTC.uncertainty(estimate)), "dof": float(GTC.dof(estimate))})
    return cases


def rectangle(cdf, low_x, high_x, low_y, high_y):
    corners = numpy.array([[high_x, high_y], [low_x, high_y], [high_x, low_y], [low_x, low_y]])
    return float(numpy.dot([1, -1, -1, 1], [cdf(corner) for corner in corners]))


def risks(chance):
    """Global risks from the bivariate normal of true value and reading, not from an integral."""
    cases = []
    for _ in range(1000):
        mean, deviation = chance.uniform(-1, 1), chance.uniform(0.3, 2)
        standard = chance.uniform(0.02, 0.8)
        low, high = -chance.uniform(0.5, 4), chance.uniform(0.5, 4)
        factor = chance.uniform(0.5, 1.1)
        middle, half = (low + high) / 2, (high - low) / 2 * factor
        covariance = [[deviation**2, deviation**2], [deviation**2, deviation**2 + standard**2]]
        # True value and reading; the reading's extra spread is the measurement's.
        both = rectangle(
            lambda corner: stats.multivariate_normal.cdf(
                corner, [mean, mean], covariance, abseps=1e-12, releps=1e-12
            ),
            low, high, middle - half, middle + half,
        )
        reading = stats.norm(mean, math.hypot(deviation, standard))
        accepted = float(reading.cdf(middle + half) - reading.cdf(middle - half))
        true = stats.norm(mean, deviation)
        inside = float(true.cdf(high) - true.cdf(low))
        cases.append({"mean": mean, "deviation": deviation, "standard": standard, "low": low,
                      "high": high, "guard_factor": factor, "false_acceptance": accepted - both,
                      "false_rejection": inside - both})
    return cases


if __name__ == "__main__":
    chance = random.Random(2026)
    print(
        json.dumps(
            {
                "coverage_factors": coverage_factors(chance),
                "probabilities": probabilities(chance),
                "conformities": conformities(chance),
                "budgets": budgets(chance),
                "repeats": repeats(chance),
                "risks": risks(chance),
            }
        )
    )
