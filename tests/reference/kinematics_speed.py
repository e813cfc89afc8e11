"""One swing's kinematics in vectorized NumPy/SciPy, timed: kinematics_speed.py FOLDER

FOLDER holds window.json {"rate", "landmarks", "slots", "impact", "repeats"} and window.f64 (slot,
landmark, coordinate; metres; golfer right-handed, X to the target, Y up, Z to the ball). Prints
{"seconds": quickest time of one swing, "values": some of what was found}.

Written as a practitioner would for speed: every frame in one array call, no loop over frames. It
does what the analysis does for kinematics: zero-phase low-pass by marker group (the club cut at
impact), rigid poses of pelvis, thorax, head, feet and club by batched singular values, hip centres,
joint and lab angles, angular velocities from rotation vectors, speeds, events, values at events.
"""
import json
import sys
import time
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.spatial.transform import Rotation

GROUPS = {
    "pelvis": ["left_asis", "right_asis", "left_psis", "right_psis"],
    "thorax": ["c7", "t8", "sternal_notch", "xiphoid"],
    "head": ["head_front", "head_left", "head_right"],
    "left_foot": ["left_ankle", "left_heel", "left_toe"],
    "right_foot": ["right_ankle", "right_heel", "right_toe"],
    "club": ["club_butt", "club_shaft_low", "club_head_heel", "club_head_toe", "club_head_back"],
}


def unit(v):
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def low_pass(x, rate, cutoff):
    once = np.arctan(np.tan(np.pi * cutoff / rate) / (2**0.5 - 1) ** 0.25) / np.pi * rate
    sos = signal.butter(2, once, fs=rate, output="sos")
    return signal.sosfiltfilt(sos, x, axis=0, padlen=min(int(rate * 0.25), len(x) - 1))


def poses(points, model):
    """Rotations and translations of a cluster in every frame (Soderkvist & Wedin 1993)."""
    mean, a = points.mean(1), model - model.mean(0)
    u, _, vt = np.linalg.svd(np.einsum("nki,kj->nij", points - mean[:, None], a))
    u[:, :, 2] *= np.sign(np.linalg.det(u @ vt))[:, None]
    r = u @ vt
    return r, mean - r @ model.mean(0)


def frame(kind, m):
    """Anatomical axes of a posture (columns X forward, Y up, Z right)."""
    if kind == "pelvis":
        z, x = m[1] - m[0], (m[0] + m[1] - m[2] - m[3]) / 2
    elif kind == "thorax":
        y = (m[0] + m[2] - m[1] - m[3]) / 2
        y, z = unit(y), np.cross(m[2] - m[0], y)
        z = unit(z - y * (y @ z))
        return np.stack([np.cross(y, z), y, z], 1)
    elif kind == "head":
        z, x = m[2] - m[1], m[0] - (m[1] + m[2]) / 2
    else:
        z, x = m[1] - m[0], m[2] - m[0]
    z = unit(z)
    x = unit(x - z * (z @ x))
    return np.stack([x, np.cross(z, x), z], 1)


def spin(r, rate):
    """Angular velocity from the rotation between the neighbours of each frame."""
    step = Rotation.from_matrix(r[2:] @ r[:-2].transpose(0, 2, 1)).as_rotvec() * rate / 2
    return np.concatenate([step[:1], step, step[-1:]])


def crossing(x, k):
    return k + x[k] / (x[k] - x[k + 1])


def at(x, slot):
    k = int(slot)
    return x[k] + (x[min(k + 1, len(x) - 1)] - x[k]) * (slot - k)


def kinematics(raw, names, rate, impact):
    column = {n: i for i, n in enumerate(names)}
    is_club = np.array([n.startswith("club") for n in names])
    n = len(raw)
    smooth = np.empty_like(raw)
    smooth[:, ~is_club] = low_pass(raw[:, ~is_club].reshape(n, -1), rate, 15.0).reshape(n, -1, 3)
    for part in (slice(0, impact), slice(impact, n)):
        club = raw[part][:, is_club]
        smooth[part, is_club] = low_pass(club.reshape(len(club), -1), rate, 40.0).reshape(club.shape)
    of = lambda name: smooth[:, column[name]]

    quiet = slice(0, int(0.2 * rate))
    turn, place, shape = {}, {}, {}
    for kind, members in GROUPS.items():
        points = smooth[:, [column[m] for m in members]]
        posture = points[quiet].mean(0)
        axes = frame(kind, posture)
        shape[kind] = (posture - posture.mean(0)) @ axes
        turn[kind], place[kind] = poses(points, shape[kind])

    # Hip centres (Harrington 2007) in the pelvis; knees and ankles inside their markers.
    p = shape["pelvis"]
    width = np.linalg.norm(p[1] - p[0])
    depth = np.linalg.norm((p[0] + p[1] - p[2] - p[3]) / 2)
    front = (p[0] + p[1]) / 2
    knees = {}
    for side, sign in (("left", -1.0), ("right", 1.0)):
        local = front + [-0.24 * depth - 0.0099, -0.30 * width - 0.0109, sign * (0.33 * width + 0.0073)]
        hip = turn["pelvis"] @ local + place["pelvis"]
        knee, ankle = of(f"{side}_knee"), of(f"{side}_ankle")
        for _ in range(4):
            lateral = -sign * unit(np.cross(knee - hip, ankle - knee))
            knee, ankle = of(f"{side}_knee") - 0.05 * lateral, of(f"{side}_ankle") - 0.036 * lateral
        thigh, shank = unit(knee - hip), unit(ankle - knee)
        knees[side] = np.arccos(np.clip((thigh * shank).sum(1), -1, 1))
        knees[side + "_hip"] = hip

    lab = {k: Rotation.from_matrix(turn[k]).as_euler("YXZ") for k in ("pelvis", "thorax", "head")}
    axial = {k: np.unwrap(v[:, 0]) + np.pi / 2 for k, v in lab.items()}
    between = lambda a, b: Rotation.from_matrix(turn[a].transpose(0, 2, 1) @ turn[b]).as_euler("ZXY")
    spine, neck = between("pelvis", "thorax"), between("thorax", "head")
    trunk_up = turn["thorax"][:, :, 1]
    inclination = np.arctan2(trunk_up[:, 2], trunk_up[:, 1])
    side = np.arctan2(-trunk_up[:, 0], trunk_up[:, 1])
    separation = axial["pelvis"] - axial["thorax"]

    wrist = (of("left_radial_styloid") + of("left_ulnar_styloid")) / 2
    arm = unit(wrist - of("left_acromion"))
    forearm = unit(wrist - of("left_elbow"))
    shaft = unit(of("club_shaft_low") - of("club_butt"))
    head = (of("club_head_heel") + of("club_head_toe")) / 2
    grip = of("club_butt") + 0.1 * shaft
    hinge = np.arccos(np.clip((forearm * shaft).sum(1), -1, 1))
    pelvis_point = (knees["left_hip"] + knees["right_hip"]) / 2

    d = lambda x: np.gradient(x, 1 / rate, axis=0)
    speed = {k: (spin(turn[k], rate) * turn[k][:, :, 1]).sum(1) for k in ("pelvis", "thorax")}
    speed["arm"] = np.linalg.norm(np.cross(arm, d(arm)), axis=1)
    speed["club"] = np.linalg.norm(np.cross(shaft, d(shaft)), axis=1)
    acceleration = {k: d(v) for k, v in speed.items()}
    head_speed = np.linalg.norm(d(head), axis=1)
    grip_speed = np.linalg.norm(d(grip), axis=1)

    # Events: the plane of the late downswing, the turning of the shaft about its normal.
    late = head[impact - int(0.1 * rate) : impact]
    normal = np.linalg.svd(late - late.mean(0), full_matrices=False)[2][2]
    about = (np.cross(shaft, d(shaft)) * normal).sum(1)
    about *= np.sign(about[impact - int(0.02 * rate)])
    turning = np.flatnonzero((about[: impact - 1] < 0) & (about[1:impact] >= 0))
    top = crossing(about, turning[-1])
    start = np.flatnonzero(head_speed[: int(top)] < 0.1)
    start = float(start[-1]) if len(start) else 0.0
    level = lambda x, a, b, last: (
        lambda k: crossing(x, int(a) + (k[-1] if last else k[0])) if len(k) else np.nan
    )(np.flatnonzero(np.diff(np.sign(x[int(a) : int(b)])) != 0))
    events = {
        "takeaway_start": start,
        "takeaway_end": level(shaft[:, 1], start, top, False),
        "lead_arm_level_back": level(arm[:, 1], start, top, False),
        "top": top,
        "lead_arm_level_down": level(arm[:, 1], top, impact, True),
        "shaft_level_down": level(shaft[:, 1], top, impact, True),
        "impact": float(impact),
    }

    address = slice(max(0, int(start) - int(0.05 * rate)), max(1, int(start)))
    series = {
        "pelvis_rotation": axial["pelvis"], "thorax_rotation": axial["thorax"],
        "pelvis_obliquity": -lab["pelvis"][:, 1], "pelvis_anterior_tilt": -lab["pelvis"][:, 2],
        "thorax_inclination": inclination, "thorax_side_inclination": side, "separation": separation,
        "spine_flexion": spine[:, 0], "spine_side": spine[:, 1], "spine_axial": spine[:, 2],
        "neck_axial": neck[:, 2], "knee_left": knees["left"], "knee_right": knees["right"],
        "hinge": hinge, "head_speed": head_speed, "grip_speed": grip_speed,
        "pelvis_shift": pelvis_point[:, 0], "pelvis_rise": pelvis_point[:, 1],
        "pelvis_depth": pelvis_point[:, 2], "head_shift": place["head"][:, 0],
        "head_rise": place["head"][:, 1], "foot_turn": turn["left_foot"][:, 0, 0],
        "trail_foot_turn": turn["right_foot"][:, 0, 0], "club_turn": turn["club"][:, 0, 0],
    }
    values = {f"{k}@{e}": at(x, t) for k, x in series.items() for e, t in events.items() if t == t}
    values |= {f"{k}@address": x[address].mean() for k, x in series.items()}
    down = slice(int(top), impact)
    for k in speed:
        peak = int(np.argmax(speed[k][down]))
        values[f"angular_speed_peak.{k}"] = speed[k][down][peak]
        values[f"angular_speed_peak_time.{k}"] = (impact - int(top) - peak) / rate
        values[f"angular_acceleration_peak.{k}"] = acceleration[k][down].max()
    values["downswing_time"] = (impact - top) / rate
    values["backswing_time"] = (top - start) / rate
    values["separation_peak"] = separation[int(start) : impact].max()
    values["head_speed_peak"] = head_speed[: impact - 1].max()
    values["grip_path_length_down"] = np.linalg.norm(np.diff(grip[down], axis=0), axis=1).sum()
    return values


folder = Path(sys.argv[1])
task = json.loads((folder / "window.json").read_text())
raw = np.fromfile(folder / "window.f64").reshape(task["slots"], len(task["landmarks"]), 3)
assert not np.isnan(raw).any(), "this script fills no gaps"
took = []
for _ in range(task["repeats"]):
    begin = time.perf_counter()
    values = kinematics(raw, task["landmarks"], task["rate"], task["impact"])
    took.append(time.perf_counter() - begin)
deg = lambda k: float(np.degrees(values[k]))
print(json.dumps({
    "seconds": min(took),
    "values": {
        "pelvis_rotation@top": round(deg("pelvis_rotation@top"), 2),
        "thorax_rotation@top": round(deg("thorax_rotation@top"), 2),
        "separation_peak": round(deg("separation_peak"), 2),
        "knee_flexion.lead@top": round(deg("knee_left@top"), 2),
        "downswing_time": round(float(values["downswing_time"]), 4),
        "head_speed_peak": round(float(values["head_speed_peak"]), 2),
    },
}))
