"""Order statistics by SciPy and NumPy: what coaching concludes from. Reads cases, writes answers (JSON)."""

import json
import sys

import numpy as np
from scipy import stats


def inverted(x, y, level):
    """The shifts that the exact rank sum test does not reject, between the differences of x and y."""
    d = np.sort(np.subtract.outer(y, x).ravel())
    middles = np.concatenate([[d[0] - 1], (d[1:] + d[:-1]) / 2, [d[-1] + 1]])
    p = [stats.mannwhitneyu(x, y - m, method="exact").pvalue for m in middles]
    accepted = np.flatnonzero(np.array(p) > level)
    low, high = accepted[0], accepted[-1]
    return [d[low - 1] if low > 0 else None, d[high] if high < len(d) else None]


def samples(case):
    x, y = np.array(case["x"]), np.array(case["y"])
    u = stats.mannwhitneyu(y, x, method="asymptotic")
    line = stats.theilslopes(y, x, 0.95) if len(x) == len(y) else None
    exact = case["exact"]
    return {
        "shift": np.median(np.subtract.outer(y, x)),
        "delta": 2 * u.statistic / (len(x) * len(y)) - 1,
        "rank_p": u.pvalue,
        "interval": inverted(x, y, 0.05) if exact else None,
        "below": stats.mannwhitneyu(y, x, alternative="less", method="exact").pvalue if exact else None,
        "u": stats.mannwhitneyu(y, x).statistic,
        "line": [line[0], line[1], line[2], line[3]] if line else None,
        "kendall_p": stats.kendalltau(x, y, method="asymptotic").pvalue if line else None,
        "quantile": np.quantile(x, 0.3),
    }


cases = json.load(open(sys.argv[1]))
answers = {
    "samples": [samples(c) for c in cases["samples"]],
    "discovery": [list(stats.false_discovery_control(p, method="bh")) for p in cases["discovery"]],
    "normal": [stats.norm.isf(p) for p in cases["tails"]],
    "student": [[stats.t.isf(p, f) for f in cases["freedoms"]] for p in cases["tails"]],
}
print(json.dumps(answers))
