#!/usr/bin/env python3
"""What the records reckon with, once more by SciPy (from PyPI): rates learned from findings, spare stock,
bounds of the time between failures, tests of many machines.

Reads questions, one object of JSON a line, and prints one line with the answer to each. The distributions are SciPy's.
For the rates, the integral over the factor of a fault is taken on a grid that is finer and laid out otherwise than
in the crate, and quantiles are searched by SciPy's `brentq`.

    fleet_statistics.py QUESTIONS.jsonl
"""

import itertools
import json
import math
import sys

import numpy as np
import scipy
from scipy import optimize, special, stats

TRUST = [1.0, 2.0, 4.0, 8.0]
KIN = [1.0, 3.0, 9.0, 27.0]
LOG_PHI = np.linspace(-30.0, 6.0, 24001)


def log_counts(found, mean, kin):
    """Logarithm of the probability of so many findings; `found` may be a part of one."""
    if float(found).is_integer():
        return stats.nbinom.logpmf(int(found), kin, kin / (kin + mean))
    return (special.gammaln(kin + found) - special.gammaln(kin) - special.gammaln(found + 1)
            + kin * np.log(kin / (kin + mean)) + found * np.log(mean / (kin + mean)))


def log_joint(rows, trust, kin):
    phi = np.exp(LOG_PHI)
    log = stats.gamma.logpdf(phi, trust, scale=1 / trust) + LOG_PHI
    for found, expected in rows:
        log = log + log_counts(found, phi * expected, kin)
    return log


def integral(log):
    top = log.max()
    return top + math.log(np.trapezoid(np.exp(log - top), LOG_PHI))


def estimate(cdf, mean):
    def quantile(probability):
        return math.exp(optimize.brentq(lambda x: cdf(math.exp(x)) - probability, -80.0, 12.0, xtol=1e-13))
    return {"mean": mean, "low": quantile(0.05), "high": quantile(0.95)}


def rates(question):
    faults = question["faults"]
    pairs = list(itertools.product(TRUST, KIN))
    logs = {pair: [log_joint(rows, *pair) for rows in faults] for pair in pairs}
    sums = np.array([sum(integral(log) for log in logs[pair]) for pair in pairs])
    weights = np.exp(sums - sums.max())
    weights /= weights.sum()
    phi = np.exp(LOG_PHI)
    answers = []
    for number, rows in enumerate(faults):
        parts = []
        for weight, pair in zip(weights, pairs):
            log = logs[pair][number]
            density = np.exp(log - log.max())
            density /= density.sum()
            keep = density > 1e-13
            parts.append((weight, pair[1], phi[keep], density[keep]))

        def mixed(found, expected):
            def cdf(x):
                return sum(w * np.dot(d, stats.gamma.cdf(x, kin + found, scale=1 / (kin / p + expected)))
                           for w, kin, p, d in parts)
            mean = sum(w * np.dot(d, (kin + found) / (kin / p + expected)) for w, kin, p, d in parts)
            return estimate(cdf, mean)

        answers.append({"new": mixed(0.0, 0.0), "types": [mixed(found, expected) for found, expected in rows]})
    return {"shapes": weights.tolist(), "faults": answers}


def stock(question):
    level, mean, shape = question["level"], question["mean"], question["shape"]
    if shape is None:
        return {"stock": int(stats.poisson.ppf(level, mean))}
    return {"stock": int(stats.nbinom.ppf(level, shape, shape / (shape + mean)))}


def between(question):
    """Bounds of the mean time between failures, stopped at a time (NIST/SEMATECH e-Handbook 8.4.5.1)."""
    hours, failures, confidence = question["hours"], question["failures"], question["confidence"]
    outside = (1 - confidence) / 2
    low = 2 * hours / stats.chi2.ppf(1 - outside, 2 * failures + 2)
    high = None if failures == 0 else 2 * hours / stats.chi2.ppf(outside, 2 * failures)
    return {"low": low, "high": high}


def more_than_kin(question):
    calls, hours = np.array(question["calls"]), np.array(question["hours"], dtype=float)
    chances = stats.binom.sf(calls - 1, calls.sum(), hours / hours.sum())
    return {"chances": chances.tolist(), "adjusted": stats.false_discovery_control(chances, method="bh").tolist()}


def share(question):
    result = stats.binomtest(question["count"], question["of"]).proportion_ci(0.9, method="exact")
    return {"low": result.low, "high": result.high}


ANSWERS = {"rates": rates, "stock": stock, "between": between, "more_than_kin": more_than_kin, "share": share}


def main():
    with open(sys.argv[1], encoding="utf-8") as questions:
        for line in questions:
            question = json.loads(line)
            answer = ANSWERS[question["ask"]](question)
            print(json.dumps({"ask": question["ask"], "scipy": scipy.__version__, **answer}))


main()
