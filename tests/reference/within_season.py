"""Run or replace within a season: savings by a dynamic programme over effective age, written from its
equations apart from the crate. Prints age and saving, after a whole season that has begun and after
a part of one: Weibull lives, half a season; lognormal lives of ten seasons. numpy 2, scipy 1."""
import numpy as np
from scipy.stats import norm

FINE = 8  # steps of age in a day


def savings(hazard, oldest, day, days, left, planned, in_season, discount, asked):
    step = day / FINE
    ages = np.arange(0.0, oldest, step)
    rise = hazard(np.concatenate([ages, ages[-1] + step * np.arange(1, FINE + 1)]))
    wear = -np.expm1(rise[:-FINE] - rise[FINE:])

    def season_before(run, days):
        cost = discount * np.minimum(run, planned + run[0])
        for _ in range(days):
            older = np.concatenate([cost[FINE:], np.full(FINE, cost[-1])])
            cost = older + wear * (in_season + cost[0] - older)
        return cost

    run = np.zeros_like(ages)
    for _ in range(400):
        run = season_before(run, days)
    within = season_before(run, left)
    for age in asked:
        print(age, *(round(float(np.interp(age, ages, w) - planned - w[0]), 3) for w in (run, within)))


def weibull(shape, median):
    scale = median / np.log(2) ** (1 / shape)
    return lambda x: (x / scale) ** shape


def lognormal(sigma, median):
    with np.errstate(divide="ignore"):
        return lambda x: -norm.logsf(np.log(np.maximum(x, 1e-300) / median) / sigma)


savings(weibull(6.0, 700.0), 1500.0, 10.0, 52, 26, 100.0, 400.0, 1 / 1.08, (260.0, 360.0, 460.0, 520.0))
savings(lognormal(0.625, 1000.0), 30_000.0, 5.0, 20, 20, 100.0, 1100.0, 1 / 1.08, (200.0, 500.0, 900.0, 1500.0))
