"""What separates two groups, by NumPy and SciPy: reads golfers with their swings, writes a row a metric (JSON)."""

import json
import sys

import numpy as np
from scipy import stats


def interval(x, y):
    """Asymmetric interval of Cliff's delta (Feng & Cliff 2004); its variance from the parts that either group's
    golfers and their pairs have in a two-way layout, each estimated without bias."""
    d = np.sign(np.subtract.outer(y, x))
    m, n = d.shape
    delta = d.mean()
    rows, columns = d.mean(axis=1), d.mean(axis=0)
    pairs = ((d - rows[:, None] - columns[None, :] + delta) ** 2).sum() / ((m - 1) * (n - 1))
    variance = (rows.var(ddof=1) - pairs / n) / m + (columns.var(ddof=1) - pairs / m) / n + pairs / (m * n)
    variance = max(variance, (1 - delta**2) / (m * n - 1))
    t = stats.t.isf(0.025, m + n - 2)
    half = t * np.sqrt(variance * ((1 - delta**2) ** 2 + t**2 * variance))
    middle, under = delta - delta**3, 1 - delta**2 + t**2 * variance
    return [(middle - half) / under, (middle + half) / under]


asked = json.load(open(sys.argv[1]))
answers = {}
for metric in asked["metrics"]:
    x, y = (np.array([np.median(swings) for swings in group[metric]]) for group in asked["groups"])
    u = stats.mannwhitneyu(y, x, method="asymptotic")
    answers[metric] = {
        "delta": 2 * u.statistic / (len(x) * len(y)) - 1,
        "p": u.pvalue,
        "interval": interval(x, y),
        "medians": [np.median(x), np.median(y)],
    }
adjusted = stats.false_discovery_control([answers[m]["p"] for m in asked["metrics"]], method="bh")
for metric, q in zip(asked["metrics"], adjusted):
    answers[metric]["q"] = q
print(json.dumps(answers))
