"""SciPy's view of a dual-pass Butterworth: filter.py INPUT_JSON

INPUT_JSON: a list of {"series", "rate", "cutoff", "pad"}. The corrected cut-off of Robertson & Dowling
2003 is turned back into a frequency for `scipy.signal.butter`, which warps it itself. Prints a list of
{"b", "a", "filtered"}.
"""
import json
import sys

import numpy as np
from scipy import signal

correction = (2**0.5 - 1) ** 0.25
answers = []
for task in json.load(open(sys.argv[1])):
    warped = np.tan(np.pi * task["cutoff"] / task["rate"]) / correction
    once = np.arctan(warped) / np.pi * task["rate"]
    b, a = signal.butter(2, once, fs=task["rate"])
    filtered = signal.filtfilt(b, a, np.array(task["series"]), padtype="odd", padlen=task["pad"])
    answers.append({"b": b.tolist(), "a": a.tolist(), "filtered": filtered.tolist()})
print(json.dumps(answers))
