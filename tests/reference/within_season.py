"""Run or replace within a season: savings by a dynamic programme over effective age, written from its
equations apart from the crate. Prints age and saving, after a whole season that has begun and after
half of one. numpy 2."""
import numpy as np

SHAPE, MEDIAN = 6.0, 700.0
SCALE = MEDIAN / np.log(2) ** (1 / SHAPE)
DAY, DAYS, LEFT = 10.0, 52, 26
PLANNED, IN_SEASON, DISCOUNT = 100.0, 400.0, 1 / 1.08
FINE = 8  # steps of age in a day

ages = np.arange(0.0, 1500.0, DAY / FINE)
hazard = (np.concatenate([ages, ages[-1] + DAY / FINE * np.arange(1, FINE + 1)]) / SCALE) ** SHAPE
wear = -np.expm1(hazard[:-FINE] - hazard[FINE:])


def season_before(run, days):
    cost = DISCOUNT * np.minimum(run, PLANNED + run[0])
    for _ in range(days):
        older = np.concatenate([cost[FINE:], np.full(FINE, cost[-1])])
        cost = older + wear * (IN_SEASON + cost[0] - older)
    return cost


run = np.zeros_like(ages)
for _ in range(2000):
    run = season_before(run, DAYS)
within = season_before(run, LEFT)
for age in (260.0, 360.0, 460.0, 520.0):
    print(age, *(round(float(np.interp(age, ages, w) - PLANNED - w[0]), 3) for w in (run, within)))
