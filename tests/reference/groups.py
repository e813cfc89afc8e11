"""What separates two groups, by NumPy and SciPy: reads golfers with their swings, writes a row a metric (JSON)."""

import json
import sys

import numpy as np
from scipy import stats


def interval(x, y):
    """Asymmetric interval of Cliff's delta: Feng & Cliff 2004, equations for the unbiased variance and the limits."""
    d = np.sign(np.subtract.outer(y, x))
    m, n = d.shape
    delta = d.mean()
    rows, columns = d.mean(axis=1), d.mean(axis=0)
    s_rows = ((rows - delta) ** 2).sum() / (m - 1)
    s_columns = ((columns - delta) ** 2).sum() / (n - 1)
    s_cells = ((d - delta) ** 2).sum() / ((m - 1) * (n - 1))
    variance = (m * s_rows + n * s_columns - s_cells) / (m * n)
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
