"""SciPy's view of a dual-pass Butterworth: filter.py INPUT_JSON

INPUT_JSON: {"series", "rate", "cutoff", "pad"}. The corrected cut-off of Robertson & Dowling 2003 is
turned back into a frequency for `scipy.signal.butter`, which warps it itself. Prints {"b", "a", "filtered"}.
"""
import json
import sys

import numpy as np
from scipy import signal

task = json.load(open(sys.argv[1]))
correction = (2**0.5 - 1) ** 0.25
warped = np.tan(np.pi * task["cutoff"] / task["rate"]) / correction
once = np.arctan(warped) / np.pi * task["rate"]
b, a = signal.butter(2, once, fs=task["rate"])
filtered = signal.filtfilt(b, a, np.array(task["series"]), padtype="odd", padlen=task["pad"])
print(json.dumps({"b": b.tolist(), "a": a.tolist(), "filtered": filtered.tolist()}))
