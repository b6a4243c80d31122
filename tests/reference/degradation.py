"""Builds degradation.json: integrals of the measured-wear model by scipy's adaptive quadrature, which shares no code with wearcast.

Run:  python degradation.py          (a few seconds)
Versions used: numpy==2.4.6 scipy==1.17.1

Model: a part of log rate u shows z(x) = exp(u) x^p + e, e ~ N(0, error^2); it ends when ln C = u + p ln x, with
ln C ~ N(habit, wander^2).
`likelihood`: u ~ N(ln_rate, spread^2) integrated out of readings and ending, all constants in.
`left`: l = ln life has the family's density; u given l is N(habit - p l0 - b p (l - l0), b wander^2), l0 and v mean and
variance of l, b = 1 - wander^2 / (p^2 v). Both u and l are integrated numerically (the program integrates u by one
normal curve), and l is cut off below ln age. Quantiles are of the exposure left.
"""
import json, math, os
import numpy as np
from scipy import integrate, optimize, stats

OUT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "degradation.json")


def likelihood(draw, readings, low, end):
    p, s = draw["power"], draw["error"]

    def density(u):
        total = stats.norm.logpdf(u, draw["ln_rate"], draw["spread"])
        for x, z in readings:
            total += stats.norm.logpdf(z, math.exp(u) * x**p, s)
        if end > 0:
            at = lambda x: (u + p * math.log(x) - draw["habit"]) / draw["wander"]
            if low is None:
                ending = stats.norm.sf(at(end))
            else:
                ending = stats.norm.cdf(at(end)) - (stats.norm.cdf(at(low)) if low > 0 else 0.0)
            total += math.log(max(ending, 1e-300))
        return total

    grid = np.linspace(draw["ln_rate"] - 8 * draw["spread"], draw["ln_rate"] + 8 * draw["spread"], 4001)
    heights = np.array([density(u) for u in grid])
    top = heights.max()
    inside = grid[heights > top - 40]
    value, _ = integrate.quad(lambda u: math.exp(density(u) - top), inside[0], inside[-1], limit=400, epsabs=0, epsrel=1e-10,
                              points=[grid[heights.argmax()]])
    return top + math.log(value)


def left(prior, draw, readings, age):
    p, s, w = draw["power"], draw["error"], draw["wander"]
    shape, ln_scale = prior["shape"], prior["ln_scale"]
    if prior["distribution"] == "weibull":
        l0, v = ln_scale - np.euler_gamma / shape, math.pi**2 / 6 / shape**2
        ln_f = lambda l: shape * (l - ln_scale) - np.exp(shape * (l - ln_scale))
    else:
        l0, v = ln_scale, 1 / shape**2
        ln_f = lambda l: -0.5 * (shape * (l - ln_scale)) ** 2
    b = 1 - w**2 / (p**2 * v)
    assert b > 0.1
    x = np.array([r[0] for r in readings]) ** p
    z = np.array([r[1] for r in readings])
    l = np.linspace(math.log(age), math.log(age) + 4, 6001)
    nodes, weights = np.polynomial.hermite_e.hermegauss(61)
    mean = draw["habit"] - p * l0 - b * p * (l - l0)
    u = mean[:, None] + math.sqrt(b) * w * nodes[None, :]
    squares = ((z[None, None, :] - np.exp(u)[:, :, None] * x[None, None, :]) ** 2).sum(axis=2)
    like = (np.exp(-0.5 * squares / s**2) * weights[None, :]).sum(axis=1)
    density = np.exp(ln_f(l)) * like
    cumulative = integrate.cumulative_simpson(density, x=l, initial=0)
    cumulative /= cumulative[-1]
    return [float(np.exp(np.interp(q, cumulative, l)) - age) for q in (0.1, 0.25, 0.5, 0.75, 0.9)]


DRAW = dict(power=1.0, error=0.05, habit=0.0, wander=0.1, ln_rate=0.0, spread=0.4)
PARTS = [
    ("worn, two readings", DRAW, [[0.3, 0.28], [0.7, 0.81]], 0.85, 0.9),
    ("running, one early reading", DRAW, [[0.1, 0.02]], None, 0.15),
    ("running, at its limit", dict(DRAW, wander=0.2), [[0.5, 0.55], [0.9, 1.02]], None, 1.0),
    ("worn some time before, slow", dict(DRAW, power=1.2, spread=0.6), [[1.0, 0.5]], 0.0, 1.9),
    ("bad gauge, reading below new", dict(DRAW, error=0.15), [[0.2, -0.1], [0.3, 0.2]], None, 0.4),
    ("nothing known of its end", DRAW, [[0.5, 0.9], [0.6, 0.95], [0.7, 1.2]], None, 0.0),
]
WEIBULL = dict(distribution="weibull", shape=3.0, ln_scale=math.log(2000.0))
LOGNORMAL = dict(distribution="lognormal", shape=3.0, ln_scale=math.log(2000.0))
LEFT = [
    ("on its family's way", WEIBULL, DRAW, [[500, 0.28], [900, 0.46]], 1000.0),
    ("fast", WEIBULL, DRAW, [[300, 0.4], [600, 0.75]], 650.0),
    ("slow", WEIBULL, DRAW, [[1500, 0.3]], 1600.0),
    ("read early, by a bad gauge", WEIBULL, dict(DRAW, error=0.1), [[200, 0.0]], 400.0),
    ("lognormal, curved", LOGNORMAL, dict(DRAW, power=1.15, wander=0.06), [[800, 0.4], [1100, 0.62]], 1200.0),
    ("past its limit", LOGNORMAL, DRAW, [[1500, 0.98], [1600, 1.06]], 1600.0),
]

out = {
    "likelihood": [
        dict(name=n, draw=d, readings=r, low=lo, end=e, value=likelihood(d, r, lo, e)) for n, d, r, lo, e in PARTS
    ],
    "left": [
        dict(name=n, prior=p, draw=d, readings=r, age=a, shares=[0.1, 0.25, 0.5, 0.75, 0.9], left=left(p, d, r, a))
        for n, p, d, r, a in LEFT
    ],
}
with open(OUT, "w") as file:
    json.dump(out, file, indent=1)
    file.write("\n")
