"""Streams a C3D file as Whin datagrams: send_c3d.py FILE HOST:PORT [--pace 1.0]

Written from the documentation of the `protocol` crate alone: adapt it to a source of your own.
"""
import argparse, socket, struct, time
import ezc3d
import numpy as np

MARKERS, FORCES = 1, 2  # Numbers of the contents; they serve as stream and layout numbers too.
DESCRIBE, FRAME, BLOCK, CLOCK, BODY = 1, 2, 3, 1, 1200 - 40
EPOCH, SEQUENCE = int(time.time()), {MARKERS: 0, FORCES: 0}

def datagram(kind, stream, time_ns, body):
    head = struct.pack("<4s4B4IQq", b"WHIN", 1, 0, kind, 40, stream, CLOCK, EPOCH, 0, SEQUENCE[stream], time_ns)
    SEQUENCE[stream] += 1
    return time_ns, head + body

def describe(content, rate, unit, counts, entries):
    """As many bodies as the entries (labels or plates) need. No axes: the bay's map knows them."""
    parts = [[]]
    for entry in entries:
        if sum(map(len, parts[-1])) + len(entry) > BODY - 128:
            parts.append([])
        parts[-1].append(entry)
    for i, part in enumerate(parts):
        head = struct.pack("<I4B14d", content, i, len(parts), content, 0, rate, unit, *[0] * 12)
        yield head + struct.pack(counts, len(entries), sum(map(len, parts[:i])), len(part)) + b"".join(part)

def frame_parts(frame, markers):
    for first in range(0, len(markers), 71):
        part = markers[first:first + 71]
        head = (frame, MARKERS, first, len(part), first // 71, -(-len(markers) // 71))
        yield struct.pack("<QI2H2B6x", *head) + part.astype("<f4").tobytes()

def plate(take, k, unit, per_frame):
    """The entry of plate k, and its samples (one row a channel) in N and N·m."""
    group = {name: p["value"] for name, p in take["parameters"]["FORCE_PLATFORM"].items() if name[0] != "_"}
    kind, to_si, matrix = int(group["TYPE"][k]), np.array([[1]] * 3 + [[unit]] * 3), np.zeros((6, 6))
    rows = take["data"]["analogs"][0][group["CHANNEL"][:8 if kind == 3 else 6, k] - 1]
    first, last = map(int, group["ZERO"])
    if 1 <= first <= last and kind != 1:  # In these frames nobody stands on the plates.
        rows = rows - rows[:, (first - 1) * per_frame:last * per_frame].mean(axis=1, keepdims=True)
    if kind == 4:
        matrix = group["CAL_MATRIX"][:, :, k] * to_si
    place = [group["CORNERS"][:, :, k].T, group["ORIGIN"][:, k] * (kind != 1), matrix]
    entry = struct.pack("<B3x51f", kind, *np.concatenate([v.ravel() for v in place]))
    return entry, rows * to_si if kind in (1, 2) else rows

def datagrams(take):
    """Device time in nanoseconds from the first frame, and bytes."""
    point, data, groups = take["parameters"]["POINT"], take["data"], take["parameters"]
    rate, unit = point["RATE"]["value"][0], {"m": 1, "cm": 0.01, "mm": 0.001}.get(point["UNITS"]["value"][0], 0)
    markers = np.concatenate([data["points"][:3], data["meta_points"]["residuals"]]).T
    seen = np.isfinite(markers).all(axis=2) & (markers[:, :, 3] >= 0)
    markers = np.where(seen[:, :, None], markers, [0, 0, 0, -1])
    names = enumerate(point["LABELS"]["value"], 1)
    names = [(name or f"unlabeled {place}").encode()[:63] for place, name in names]
    describe_markers = MARKERS, rate, unit, "<3H2x", [bytes([len(name)]) + name for name in names]
    per_frame = data["analogs"].shape[2] // len(markers)
    used = int(groups["FORCE_PLATFORM"]["USED"]["value"][0]) if per_frame else 0
    plates = [plate(take, k, unit, per_frame) for k in range(used)]
    samples = np.concatenate([rows for _, rows in plates]).T if plates else np.zeros((0, 1))
    describe_forces = FORCES, rate * per_frame, unit, "<3B5x", [entry for entry, _ in plates]
    fit, described = (BODY - 16) // 4 // samples.shape[1], None
    for frame in range(len(markers)):
        at = round(frame * 1e9 / rate)
        if described != at // 10**9:  # Once a second.
            described = at // 10**9
            for content in [describe_markers, describe_forces][:1 + bool(plates)]:
                yield from (datagram(DESCRIBE, content[0], at, body) for body in describe(*content))
        yield from (datagram(FRAME, MARKERS, at, body) for body in frame_parts(frame, markers[frame]))
        end = (frame + 1) * per_frame
        for first in range(frame * per_frame, end, fit) if plates else []:
            block = samples[first:min(first + fit, end)]
            head = struct.pack("<QIHBx", first, FORCES, len(block), block.shape[1])
            yield datagram(BLOCK, FORCES, round(first * 1e9 / rate / per_frame), head + block.astype("<f4").tobytes())

if __name__ == "__main__":
    options = argparse.ArgumentParser(usage=__doc__)
    options.add_argument("file")
    options.add_argument("to")
    options.add_argument("--pace", type=float, default=1.0)
    options = options.parse_args()
    host, port = options.to.rsplit(":", 1)
    out, start = socket.socket(socket.AF_INET, socket.SOCK_DGRAM), time.monotonic()
    for time_ns, payload in datagrams(ezc3d.c3d(options.file)):
        time.sleep(max(0.0, start + time_ns / 1e9 / options.pace - time.monotonic()))
        out.sendto(payload, (host, int(port)))
