#!/usr/bin/env python3
"""Reference values for comparisons: lives at the same effective exposure, by level.

    python3 tests/reference/make_compare.py > tests/reference/compare.json

Run under Python 3.11, numpy 2.4.6, scipy 1.17.1. An independent maximum likelihood: survival
probabilities written out and subtracted, derivatives by differences, BFGS polished by Nelder-Mead, profile
limits by root finding on re-maximized likelihoods. It shares nothing with the program's own code.

- `remission`: weeks of remission under 6-MP and placebo, Freireich et al., Blood 21 (1963) 699-716 (data as in
  the text books; from memory). `printed`: Weibull regression as printed in Kleinbaum & Klein, Survival Analysis,
  chapter 7: ratio of log life 1.267, intercept 2.248, Weibull shape 1.366; log-likelihood of the times -106.579
  (from memory, and recomputed here).
- `mixed`: an invented fleet: three materials, two product groups, wear-outs known to an interval, late entry.
- `holm`: the step-down values of scipy-free arithmetic on an invented list, and Holm's (1979) definition by
  brute force: the largest of all (m - j + 1) p_(j), j <= i.
"""
import json

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.stats import chi2


def maximum(negative, start):
    best = minimize(negative, start, method="BFGS", jac="3-point", options={"gtol": 1e-7})
    return minimize(negative, best.x, method="Nelder-Mead",
                    options={"xatol": 1e-9, "fatol": 1e-12, "initial_simplex": simplex(best.x)})


def simplex(x):
    return np.vstack([x, x + 1e-4 * np.eye(len(x))])


def columns(data):
    known = np.array([row["known"] for row in data])
    return {name: np.array([row[name] for row in data]) for name in ("entry", "low", "end")} | {
        "level": np.array([row["level"] for row in data]), "known": known}


def log_likelihood(theta, data, n_groups):
    """theta: ln shape, ln scale, ln factors, ln ratios."""
    shape, scale = np.exp(theta[0]), np.exp(theta[1])
    w = np.concatenate([[1.0], np.exp(theta[2:1 + n_groups])])
    s = scale * np.concatenate([[1.0], np.exp(theta[1 + n_groups:])])[data["level"]]
    hazard = lambda name: (data[name] @ w / s) ** shape
    low, high = hazard("low"), hazard("end")
    end = data["end"] @ w
    density = np.log(shape / s) + (shape - 1) * np.log(end / s) - high
    between = np.log(np.maximum(np.exp(-low) - np.exp(-high), 1e-300))
    terms = np.select([data["known"] == "censored", data["known"] == "at"], [-high, density], between)
    return float(np.sum(terms + hazard("entry")))


def fit(data, n_groups, n_levels, start):
    n = n_groups + n_levels
    data = columns(data)
    best = maximum(lambda t: -log_likelihood(t, data, n_groups), start)
    out = {"theta": best.x.tolist(), "log_likelihood": -best.fun, "p_values": [], "intervals": []}
    for level in range(1, n_levels):
        at = n_groups + level

        def profile(value, at=at):
            rest = [i for i in range(n) if i != at]

            def negative(t):
                full = np.empty(n)
                full[rest] = t
                full[at] = value
                return -log_likelihood(full, data, n_groups)
            return -maximum(negative, best.x[rest]).fun
        drop = chi2.ppf(0.9, 1) / 2
        height = lambda v: profile(v) + best.fun + drop
        step = 0.3
        low, high = best.x[at] - step, best.x[at] + step
        while height(low) > 0:
            low -= step
        while height(high) > 0:
            high += step
        limits = [brentq(height, low, best.x[at], xtol=1e-9), brentq(height, best.x[at], high, xtol=1e-9)]
        out["intervals"].append(np.exp(limits).tolist())
        out["p_values"].append(chi2.sf(2 * (-best.fun - profile(0.0)), 1))
    return out


def remission():
    treated = [(6, 1), (6, 1), (6, 1), (7, 1), (10, 1), (13, 1), (16, 1), (22, 1), (23, 1), (6, 0), (9, 0), (10, 0),
               (11, 0), (17, 0), (19, 0), (20, 0), (25, 0), (32, 0), (32, 0), (34, 0), (35, 0)]
    placebo = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
    row = lambda t, worn, level: {"entry": [0.0], "low": [float(t)], "end": [float(t)],
                                  "known": "at" if worn else "censored", "level": level}
    data = [row(t, True, 0) for t in placebo] + [row(t, bool(d), 1) for t, d in treated]
    out = {"n_groups": 1, "n_levels": 2, "lives": data}
    out |= fit(data, 1, 2, np.array([0.3, 2.2, 1.2]))
    out["printed"] = {"ratio": 1.267, "intercept": 2.248, "shape": 1.366, "log_likelihood": -106.579}
    return out


def mixed():
    rng = np.random.default_rng(20)
    data = []
    for i in range(60):
        level = int(rng.integers(0, 3))
        share = rng.uniform(0.1, 0.9)
        w, ratio = np.array([1.0, 2.0]), [1.0, 1.6, 0.8][level]
        life = 1000 * ratio * rng.weibull(2.2)
        per = np.array([share, 1 - share])
        at = life / np.dot(w, per)
        entry = float(round(rng.uniform(50, 250))) if i % 4 == 0 else 0.0
        if at <= entry:
            continue
        stop = rng.uniform(300, 1400)
        use = lambda x: [round(float(v), 3) for v in x * per]
        if at < stop:
            low, high = max(at - rng.uniform(5, 120), entry), at + rng.uniform(1, 40)
            data.append({"entry": use(entry), "low": use(low), "end": use(high), "known": "between", "level": level})
        else:
            stop = max(stop, entry + 10)
            data.append({"entry": use(entry), "low": use(stop), "end": use(stop), "known": "censored", "level": level})
    out = {"n_groups": 2, "n_levels": 3, "lives": data}
    out |= fit(data, 2, 3, np.array([0.7, 6.9, 0.6, 0.4, -0.2]))
    return out


def holm():
    p = [0.012, 0.2, 0.004, 0.03, 0.03, 0.6, 0.0499]
    order = np.argsort(p, kind="stable")
    m = len(p)
    corrected = [0.0] * m
    for place, index in enumerate(order):
        corrected[index] = min(1.0, max((m - j) * p[order[j]] for j in range(place + 1)))
    return {"p": p, "corrected": corrected}


print(json.dumps({"remission": remission(), "mixed": mixed(), "holm": holm()}, indent=1))
