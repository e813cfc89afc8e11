"""Reads C3D files with two independent libraries, ezc3d and c3d (PyPI), for comparison.

    c3d_dump.py OUT FILE...

Prints one JSON list with an entry per file and library; the numbers go to OUT as raw little-endian
doubles: `N.points` (frames x markers x [x, y, z, residual], residual < 0 or NaN: not seen) and
`N.analog` (channels x samples).
"""

import json
import sys
import warnings
from pathlib import Path

import c3d
import ezc3d
import numpy as np

warnings.simplefilter("ignore")


def texts(parameters, group, name):
    value = parameters.get(group, {}).get(name, {}).get("value", [])
    return [str(v).strip(" \0") for v in value]


def plates(parameters):
    """Type, corners (by corner), origin and channels (from 1) of each force plate."""
    group = parameters.get("FORCE_PLATFORM", {})
    if not group.get("USED", {}).get("value", [0])[0]:
        return []
    value = lambda name: np.asarray(group[name]["value"])
    return [
        {
            "type": int(kind),
            "corners": value("CORNERS").reshape(3, 4, -1, order="F")[:, :, n].T.tolist(),
            "origin": value("ORIGIN").reshape(3, -1, order="F")[:, n].tolist(),
            "channels": value("CHANNEL").reshape(-1, len(value("TYPE")), order="F")[:, n].tolist(),
        }
        for n, kind in enumerate(value("TYPE"))
    ]


def with_ezc3d(path):
    file = ezc3d.c3d(path)
    parameters, header = file["parameters"], file["header"]
    rate = float(header["points"]["frame_rate"])
    first = int(header["points"]["first_frame"]) + 1
    points = file["data"]["points"]
    residuals = file["data"]["meta_points"]["residuals"]
    stacked = np.concatenate([points[:3], residuals[:1]]).transpose(2, 1, 0)
    events = []
    used = parameters.get("EVENT", {}).get("USED", {}).get("value", [0])
    if len(used) and used[0] > 0:
        times = np.asarray(parameters["EVENT"]["TIMES"]["value"]).flatten(order="F").reshape(-1, 2)
        names = texts(parameters, "EVENT", "LABELS")
        contexts = texts(parameters, "EVENT", "CONTEXTS")
        start = (first - 1) / rate
        events = [[n, c, 60 * m + s - start] for n, c, (m, s) in zip(names, contexts, times)]
    entry = {
        "rate_hz": rate,
        "first_frame": first,
        "units": "".join(texts(parameters, "POINT", "UNITS")),
        "labels": texts(parameters, "POINT", "LABELS"),
        "analog_rate_hz": float(header["analogs"]["frame_rate"]),
        "analog_labels": texts(parameters, "ANALOG", "LABELS"),
        "analog_units": texts(parameters, "ANALOG", "UNITS"),
        "events": events,
        "subjects": texts(parameters, "SUBJECTS", "NAMES"),
        "plates": plates(parameters),
        "own": {k: np.asarray(v["value"]).tolist() for k, v in parameters.get("WHIN", {}).items() if "value" in v},
    }
    return entry, stacked, file["data"]["analogs"][0]


def with_c3d(path):
    with open(path, "rb") as handle:
        reader = c3d.Reader(handle)
        frames = list(reader.read_frames())
        analog = reader.get("ANALOG:LABELS")
        entry = {
            "rate_hz": float(reader.point_rate),
            "first_frame": int(reader.first_frame),
            "units": reader.get("POINT").get_string("UNITS").strip(" \0"),
            "labels": [s.strip(" \0") for s in reader.point_labels],
            "analog_rate_hz": float(reader.analog_rate),
            "analog_labels": [] if analog is None else [s.strip(" \0") for s in analog.string_array],
        }
        header = zip(reader.header.event_labels, reader.header.event_timings)
        entry["header_events"] = [[str(l).strip(" \0"), "", float(t)] for l, t in header]
    points = np.stack([p[:, :4] for _, p, _ in frames]).astype(float)
    analogs = [a for _, _, a in frames]
    samples = np.concatenate(analogs, axis=1) if analogs[0].ndim == 2 else np.empty((0, 0))
    return entry, points, samples.astype(float)


def main():
    out, paths = Path(sys.argv[1]), sys.argv[2:]
    entries = []
    for path in paths:
        for library, read in (("ezc3d", with_ezc3d), ("c3d", with_c3d)):
            entry = {"file": path, "library": library}
            try:
                values, points, analog = read(path)
            except Exception as error:  # what a library refuses is part of the result
                entry["error"] = str(error)
            else:
                entry.update(values)
                entry["points"] = list(points.shape)
                entry["analog"] = list(analog.shape)
                stem = out / str(len(entries))
                np.ascontiguousarray(points, "<f8").tofile(f"{stem}.points")
                np.ascontiguousarray(analog, "<f8").tofile(f"{stem}.analog")
            entries.append(entry)
    print(json.dumps(entries))


if __name__ == "__main__":
    main()
