"""Profile-likelihood limits of `three_groups.csv`: python three_groups.py, with numpy, scipy and pandas.

Weibull lives in effective use, `u_ref + w0 u_g0 + w1 u_g1`; a wear-out contributes the chance of its interval, any other
end that of surviving, both given survival of the entry. Limits at 90 %: where the largest likelihood with one quantity
held is lower by 1.3528 (half the chi-square quantile with one degree of freedom). Factors may be nothing.
"""
import pathlib

import numpy as np
import pandas as pd
from scipy.optimize import brentq, minimize
from scipy.stats import chi2

data = pd.read_csv(pathlib.Path(__file__).with_name("three_groups.csv"))
worn = data.ended.isin(["worn", "broken"]).to_numpy()
use, entry, low = (
    data[[f"{kind}_{g}" for g in ("ref", "g0", "g1")]].fillna(0.0).to_numpy() for kind in ("use", "entry", "low")
)


def log_likelihood(shape, scale, w0, w1):
    w = np.array([1.0, w0, w1])
    h = lambda u: ((u @ w) / scale) ** shape
    end, begin, good = h(use), h(entry), h(low)
    chance = np.where(worn, -good + np.log(-np.expm1(-np.maximum(end - good, 1e-300))), -end)
    return float((data["count"].to_numpy() * (chance + begin)).sum())


def best(held=None, value=None):
    """The largest log-likelihood; `held` turns (value, shape) into the scale, or is "shape"."""
    def minus(p):
        shape = value if held == "shape" else np.exp(p[0])
        scale = np.exp(p[1]) if held in (None, "shape") else held(value, shape)
        return -log_likelihood(shape, scale, p[2], p[3])
    found = []
    for shape in (0.6, 1.0, 1.6):
        for w in (0.0, 0.2, 2.0):
            start = [np.log(shape), np.log(150.0), w, w]
            found.append(minimize(minus, start, method="L-BFGS-B", bounds=[(-2, 3), (0, 12), (0, 50), (0, 50)],
                                  options={"ftol": 1e-13, "gtol": 1e-9, "maxiter": 5000}).fun)
    return -min(found)


floor = best() - chi2.ppf(0.9, 1) / 2
median = lambda value, shape: value / np.log(2.0) ** (1 / shape)
for name, held, a, b in [("shape", "shape", 0.4, 0.85), ("scale", lambda v, _: v, 20, 160), ("life50", median, 15, 105)]:
    print(name, brentq(lambda v: best(held, v) - floor, a, b, xtol=1e-4))
