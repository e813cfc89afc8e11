"""One swing's kinematics in vectorized NumPy/SciPy, timed: kinematics_speed.py FOLDER

FOLDER holds window.json {"rate", "landmarks", "slots", "impact", "in_a_row", "from_s", "club", "ground"?} and
window.f64 (slot, landmark, coordinate; metres; golfer right-handed, X to the target, Y up, Z to the
ball); with "ground" also ground.f64 (sample, channel), and `ground_speed.py` does its part. For each line
that comes in it prints the quickest of "in_a_row" times of one swing, seconds; at the end of its input
{"kinematics": some of what was found, "ground": the same of the plates}.

Written as a practitioner would for speed: every frame in one array call, no loop over frames. It
does what the analysis does for kinematics: tracks held against their smoothness and clusters against
their shape, cut-offs by residual analysis, zero-phase low-pass by marker group (the club cut at
impact), rigid poses of pelvis, thorax, head, feet and club by batched singular values with what they
leave, joint centres of legs and arms, joint and lab angles, angular velocities from rotation vectors,
the body as moving masses, local polynomials of lines and of the club near impact (one convolution
each), the work on the club, speeds, events, values at events.
"""
import json
import sys
import time
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.spatial.transform import Rotation

import ground_speed

GROUPS = {
    "pelvis": ["left_asis", "right_asis", "left_psis", "right_psis"],
    "thorax": ["c7", "t8", "sternal_notch", "xiphoid"],
    "head": ["head_front", "head_left", "head_right"],
    "left_foot": ["left_ankle", "left_heel", "left_toe"],
    "right_foot": ["right_ankle", "right_heel", "right_toe"],
    "club": ["club_butt", "club_shaft_low", "club_head_heel", "club_head_toe", "club_head_back"],
}


STIFF = ("pelvis", "thorax", "club")
ARM_MARKERS = ("acromion", "elbow", "radial_styloid", "ulnar_styloid")
TRUNK_SHOWN = ["left_asis", "right_asis", "sternal_notch", "left_knee", "right_knee"]
ARMS_SHOWN = ["left_acromion", "left_elbow", "left_radial_styloid"]
# Share of the body's mass, of the length to the mass centre, and the three radii of gyration as shares of
# it (means of both sexes, de Leva 1996).
MASSES = {
    "head": (0.0681, 0.492, 0.287, 0.305, 0.261), "upper_trunk": (0.157, 0.254, 0.731, 0.478, 0.689),
    "mid_trunk": (0.155, 0.451, 0.458, 0.369, 0.442), "lower_trunk": (0.118, 0.552, 0.524, 0.477, 0.516),
    "upper_arm": (0.0263, 0.576, 0.282, 0.265, 0.153), "forearm": (0.015, 0.457, 0.269, 0.261, 0.108),
    "hand": (0.0059, 0.769, 0.580, 0.484, 0.368), "thigh": (0.145, 0.385, 0.349, 0.347, 0.156),
    "shank": (0.0457, 0.437, 0.259, 0.255, 0.097), "foot": (0.0133, 0.421, 0.278, 0.262, 0.132),
}
GRAVITY = 9.80665


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


def smooth_tracks(raw, rate):
    """Whether each track goes on from frame to frame as it did over the 10 ms before."""
    reach = max(int(0.010 * rate), 1)
    step = (raw[reach:-1] - raw[: -reach - 1]) / reach
    miss = raw[reach + 1 :] - raw[reach:-1] - step
    return (np.einsum("nkc,nkc->nk", miss, miss) < 0.012**2).all(0)


def stiff(points, every):
    """Whether each frame's distances within a cluster are those of its usual shape."""
    a, b = np.triu_indices(points.shape[1], 1)
    apart = points[:, a] - points[:, b]
    apart = np.sqrt(np.einsum("npc,npc->np", apart, apart))
    usual = np.median(apart[::every], axis=0)
    return (np.abs(apart - usual) < 0.015).all(1)


def cutoff(x, rate, low, high):
    """Residual analysis (Winter 2009): takes away as much as the noise is."""
    taken = lambda hz: np.sqrt(np.mean((x - low_pass(x, rate, hz)) ** 2))
    tail = np.linspace(max(0.2 * rate, 2 * high), 0.4 * rate, 3)
    noise = np.polyfit(tail, [taken(hz) for hz in tail], 1)[1]
    before = None
    for hz in np.linspace(low, high, 4):
        left = taken(hz)
        if left <= noise:
            return hz if before is None else before[0] + (hz - before[0]) * (before[1] - noise) / (before[1] - left)
        before = hz, left
    return high


def local_fit(x, rate, half_s, degree, derivative):
    """Derivative of local polynomials, up to the series' ends."""
    half = max(int(half_s * rate), degree)
    return signal.savgol_filter(x, 2 * half + 1, degree, deriv=derivative, delta=1 / rate, axis=0)


def moving(kind, near, far, d):
    """Mass share, centre, velocity and energy (for each kilogram of the body) of a limb between two joints."""
    share, place, *gyration = MASSES[kind]
    line = far - near
    centre = near + place * line
    velocity, slope = d(centre), d(line)
    length = np.sqrt(np.einsum("nc,nc->n", line, line))
    spin = np.cross(line, slope) / (length**2)[:, None]
    across = share * 0.5 * (gyration[0] ** 2 + gyration[1] ** 2) * length.mean() ** 2
    energy = 0.5 * (share * (velocity**2).sum(1) + across * (spin**2).sum(1))
    return share, centre, velocity, energy, across * spin


def block(kind, centre, turn, spin, length, d):
    """The same for a part that turns as a frame does."""
    share, _, *gyration = MASSES[kind]
    moment = share * (np.array([gyration[0], gyration[2], gyration[1]]) * length) ** 2
    momentum = np.einsum("nij,nj->ni", turn, np.einsum("nji,nj->ni", turn, spin) * moment)
    velocity = d(centre)
    energy = 0.5 * (share * (velocity**2).sum(1) + (spin * momentum).sum(1))
    return share, centre, velocity, energy, momentum


def elbow(shoulder, lateral, wrist, across, sign):
    """Elbow centre half a width inside its marker, along the normal of the arm's plane or the styloids' line."""
    centre = lateral
    for _ in range(4):
        upper, fore = unit(centre - shoulder), unit(wrist - centre)
        bent = np.arccos(np.clip((upper * fore).sum(1), -1, 1))
        bent = np.clip((bent - 0.10) / 0.15, 0, 1)[:, None]
        beside = unit(across - fore * (across * fore).sum(1)[:, None])
        centre = lateral + 0.034 * unit(sign * bent * unit(np.cross(upper, fore)) + (1 - bent) * beside)
    return centre


def legs(of, turn, place, p):
    """Hip centres (Harrington 2007) in the pelvis; knees and ankles inside their markers."""
    width = np.linalg.norm(p[1] - p[0])
    depth = np.linalg.norm((p[0] + p[1] - p[2] - p[3]) / 2)
    front = (p[0] + p[1]) / 2
    knees = {}
    for side, sign in (("left", -1.0), ("right", 1.0)):
        local = front + [-0.24 * depth - 0.0099, -0.30 * width - 0.0109, sign * (0.33 * width + 0.0073)]
        hip = turn @ local + place
        knee, ankle = of(f"{side}_knee"), of(f"{side}_ankle")
        for _ in range(4):
            lateral = -sign * unit(np.cross(knee - hip, ankle - knee))
            knee, ankle = of(f"{side}_knee") - 0.05 * lateral, of(f"{side}_ankle") - 0.036 * lateral
        thigh, shank = unit(knee - hip), unit(ankle - knee)
        knees[side] = np.arccos(np.clip((thigh * shank).sum(1), -1, 1))
        knees[side + "_hip"], knees[side + "_knee"], knees[side + "_ankle"] = hip, knee, ankle
    return knees


def masses(of, turn, place, shape, knees, club, rate):
    """The body as moving masses: share, centre, velocity, energy and angular momentum of each part."""
    d = lambda x: np.gradient(x, 1 / rate, axis=0)
    grip, shaft = club
    trunk_up = turn["thorax"][:, :, 1]
    pelvis_point = (knees["left_hip"] + knees["right_hip"]) / 2
    spins = {k: spin(turn[k], rate) for k in ("pelvis", "thorax", "head")}
    # The notch at its height on the thorax' long axis; the head's centre below the middle of the ears.
    mid = (shape["thorax"][1] + shape["thorax"][3]) / 2
    high = np.array([mid[0], shape["thorax"][2, 1], mid[2]])
    low, notch = (turn["thorax"] @ p + place["thorax"] for p in (mid, high))
    skull = (shape["head"][1] + shape["head"][2]) / 2 + [0.010, -0.025, 0.0]
    skull = turn["head"] @ skull + place["head"]
    trunk_m = np.linalg.norm(high - mid) + np.linalg.norm(low - pelvis_point, axis=1).mean()
    navel = low + 0.54 * (pelvis_point - low)
    between = (spins["pelvis"] + spins["thorax"]) / 2
    parts = [
        block("head", skull, turn["head"], spins["head"], 0.243, d),
        block("upper_trunk", notch + 0.505 * (low - notch), turn["thorax"], spins["thorax"], 0.30 * trunk_m, d),
        block("mid_trunk", low + 0.451 * (navel - low), turn["thorax"], between, 0.40 * trunk_m, d),
        block("lower_trunk", navel + 0.552 * (pelvis_point - navel), turn["pelvis"], spins["pelvis"], 0.30 * trunk_m, d),
    ]
    drop = 0.17 * np.linalg.norm(of("left_acromion") - of("right_acromion"), axis=1)[:, None] * trunk_up
    for of_side, sign in (("left", 1.0), ("right", -1.0)):
        radial, ulnar = of(f"{of_side}_radial_styloid"), of(f"{of_side}_ulnar_styloid")
        shoulder, joint = of(f"{of_side}_acromion") - drop, (radial + ulnar) / 2
        bend = elbow(shoulder, of(f"{of_side}_elbow"), joint, ulnar - radial, sign)
        below = grip + shaft * (((joint - grip) * shaft).sum(1) + 0.06)[:, None]
        parts += [
            moving("upper_arm", shoulder, bend, d),
            moving("forearm", bend, joint, d),
            moving("hand", joint, joint + 0.083 * unit(below - joint), d),
            moving("thigh", knees[of_side + "_hip"], knees[of_side + "_knee"], d),
            moving("shank", knees[of_side + "_knee"], knees[of_side + "_ankle"], d),
            moving("foot", of(f"{of_side}_heel"), of(f"{of_side}_heel") + 1.3 * (of(f"{of_side}_toe") - of(f"{of_side}_heel")), d),
        ]
    return parts


def thin(x, stride):
    """Means of some slots each, the bend of the path over them taken out again."""
    if stride == 1:
        return x
    means = x[: len(x) // stride * stride].reshape(-1, stride, *x.shape[1:]).mean(1)
    out = means.copy()
    out[1:-1] -= (means[2:] + means[:-2] - 2 * means[1:-1]) * ((1 - 1 / stride**2) / 24)
    return out


def motion(raw, column, shape, rate, impact, start):
    """Golfer and club up to impact from the markers as they are, at some 250 places a second, as the
    comparison with the plates needs them: no low-pass bends the path's end."""
    stride = max(int(rate / 250), 1)
    placed, rate = thin(raw[: impact + 1], stride), rate / stride
    of = lambda name: placed[:, column[name]]
    kinds = ("pelvis", "thorax", "head")
    found = [poses(placed[:, [column[m] for m in GROUPS[k]]], shape[k]) for k in kinds]
    turn, place = ({k: f[i] for k, f in zip(kinds, found)} for i in (0, 1))
    shaft = unit(of("club_shaft_low") - of("club_butt"))
    grip = of("club_butt") + 0.13 * shaft
    knees = legs(of, turn["pelvis"], place["pelvis"], shape["pelvis"])
    parts = masses(of, turn, place, shape, knees, (grip, shaft), rate)
    middle = 0.5 * (stride - 1)
    judged = int(np.ceil((start - middle) / stride))
    first = judged - int(0.1 * rate)
    share = np.array([p[0] for p in parts])
    share /= share.sum()
    centres, velocities, momenta = (np.stack([p[i][first:] for p in parts]) for i in (1, 2, 4))
    whole = sum(p[0] for p in parts)

    def angular(about):
        moved = np.cross(centres - about, velocities)
        return np.tensordot(share, moved, 1) + momenta.sum(0) / whole

    return {
        "rate": rate, "start": judged - first, "angular": angular, "shaft": shaft[first:],
        "times": (np.arange(first, len(placed)) * stride + middle) / (rate * stride),
        "centre": np.tensordot(share, centres, 1), "club": (grip + (CLUB_BALANCE_M - 0.13) * shaft)[first:],
    }


def kinematics(raw, names, rate, impact):
    column = {n: i for i, n in enumerate(names)}
    of_group = {k: raw[:, [column[m] for m in members]] for k, members in GROUPS.items()}
    bad = [name for name, ok in zip(names, smooth_tracks(raw, rate)) if not ok and "club" not in name]
    every = max(len(raw) // 200, 1)
    loose = {k: np.count_nonzero(~stiff(of_group[k], every)) for k in STIFF}
    is_club = np.array([n.startswith("club") for n in names])
    n = len(raw)
    smooth = np.empty_like(raw)
    # Like the analysis: the residuals of means of some 250 places a second from takeaway to impact.
    stride = max(int(rate / 250), 1)
    shown = raw[int(0.3 * rate) : impact + int(0.2 * rate)]
    shown = shown[: len(shown) // stride * stride].reshape(-1, stride, *raw.shape[1:]).mean(1)
    of_shown = lambda of: shown[:, [column[m] for m in of]].reshape(len(shown), -1)
    trunk_hz = cutoff(of_shown(TRUNK_SHOWN), rate / stride, 14.0, 18.0)
    arms_hz = cutoff(of_shown(ARMS_SHOWN), rate / stride, 18.0, 25.0)
    is_arm = np.array([n.endswith(ARM_MARKERS) for n in names])
    for mask, hz in ((is_arm, arms_hz), (~is_club & ~is_arm, trunk_hz)):
        smooth[:, mask] = low_pass(raw[:, mask].reshape(n, -1), rate, hz).reshape(n, -1, 3)
    for part in (slice(0, impact), slice(impact, n)):
        club = raw[part][:, is_club]
        smooth[part, is_club] = low_pass(club.reshape(len(club), -1), rate, 40.0).reshape(club.shape)
    of = lambda name: smooth[:, column[name]]

    quiet = slice(0, int(0.2 * rate))
    turn, place, shape, left = {}, {}, {}, {}
    for kind, members in GROUPS.items():
        points = smooth[:, [column[m] for m in members]]
        posture = points[quiet].mean(0)
        axes = frame(kind, posture)
        shape[kind] = (posture - posture.mean(0)) @ axes
        turn[kind], place[kind] = poses(points, shape[kind])
        # What a stiff fit leaves of the markers themselves, address to impact.
        stretch = of_group[kind][:impact]
        own, at_place = poses(stretch, shape[kind])
        off = shape[kind] @ own.transpose(0, 2, 1) + at_place[:, None] - stretch
        left[kind] = np.sqrt((off**2).sum() / (off.size - 6 * len(off)))

    knees = legs(of, turn["pelvis"], place["pelvis"], shape["pelvis"])

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
    # Lines and fast points by local polynomials of the markers themselves, cut at impact.
    raw_of = lambda name: raw[:impact, column[name]]
    raw_wrist = (raw_of("left_radial_styloid") + raw_of("left_ulnar_styloid")) / 2
    raw_arm = unit(raw_wrist - raw_of("left_acromion"))
    raw_shaft = unit(raw_of("club_shaft_low") - raw_of("club_butt"))
    raw_head = (raw_of("club_head_heel") + raw_of("club_head_toe")) / 2
    raw_grip = raw_of("club_butt") + 0.13 * raw_shaft
    for k, line, half_s in (("arm", raw_arm, 0.045), ("club", raw_shaft, 0.030)):
        value, slope = (local_fit(line, rate, half_s, 4, i) for i in (0, 1))
        speed[k] = np.linalg.norm(np.cross(value, slope), axis=1)
    acceleration = {k: d(v) for k, v in speed.items()}
    head_speed = np.linalg.norm(d(head), axis=1)
    grip_speed = np.linalg.norm(d(grip), axis=1)
    head_speed[:impact] = np.linalg.norm(local_fit(raw_head, rate, 0.030, 3, 1), axis=1)
    grip_speed[:impact] = np.linalg.norm(local_fit(raw_grip, rate, 0.030, 3, 1), axis=1)

    # The club as two hands move it.
    state = lambda x: [local_fit(x, rate, 0.027, 4, i) for i in (0, 1, 2)]
    centre = raw_grip + (CLUB_BALANCE_M - 0.13) * raw_shaft
    (at_grip, grip_v, _), (at_centre, centre_v, centre_a) = state(raw_grip), state(centre)
    axis_x, axis_v, axis_a = state(raw_shaft)
    club_spin, club_slope = np.cross(axis_x, axis_v), np.cross(axis_x, axis_a)
    force = CLUB_KG * (centre_a + np.array([0.0, GRAVITY, 0.0]))
    couple = CLUB_KG_M2 * club_slope - np.cross(at_grip - at_centre, force)
    force_w, couple_w = (force * grip_v).sum(1), (couple * club_spin).sum(1)
    club_j = 0.5 * (CLUB_KG * (centre_v**2).sum(1) + CLUB_KG_M2 * (club_spin**2).sum(1))

    # The body as moving masses.
    parts = masses(of, turn, place, shape, knees, (grip, shaft), rate)
    body_kg = sum(p[0] for p in parts)
    mass_centre = sum(p[0] * p[1] for p in parts) / body_kg
    energy = {
        "trunk": sum(p[3] for p in parts[:4]),
        "arms": sum(p[3] for i in (4, 5, 6, 10, 11, 12) for p in [parts[i]]),
        "legs": sum(p[3] for i in (7, 8, 9, 13, 14, 15) for p in [parts[i]]),
    }

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
        "mass_centre_shift": mass_centre[:, 0], "mass_centre_rise": mass_centre[:, 1],
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
    linear = np.trapezoid(force_w[down], dx=1 / rate)
    values["work_linear"], values["work_total"] = linear, club_j[impact - 1] - club_j[int(top)]
    values["power_peak"] = (force_w + couple_w)[down].max()
    values |= {f"energy_peak.{k}": v[down].max() for k, v in energy.items()}
    values |= {f"cluster_residual.{k}": v for k, v in left.items()}
    values |= {f"loose.{k}": v for k, v in loose.items()} | {"bad_tracks": len(bad)}
    found = {
        "events": events, "quiet": (max(0, int(start) - int(0.2 * rate)), int(start)), "grip": grip, "shaft": shaft,
        "feet": [(of(f"{side}_heel"), of(f"{side}_toe")) for side in ("left", "right")], "shape": shape,
        "mass_centre": mass_centre, "energy": {k: v[down].max() for k, v in energy.items()},
    }
    return values, found


def ground(raw, names, rate, impact, from_s, found, plates):
    """What the plates add: their reactions, their metrics, and plates against motion."""
    slots = {k: v for k, v in found["events"].items() if v == v}
    still = slice(*found["quiet"])
    swing = {
        "times": {k: from_s + slot / rate for k, slot in slots.items()},
        "quiet_s": [from_s + slot / rate for slot in found["quiet"]],
        "places_s": from_s + np.arange(len(raw)) / rate,
        "feet": [[mark[still].mean(0) for mark in foot] for foot in found["feet"]],
    } | {k: found[k] for k in ("mass_centre", "grip", "shaft", "energy")}
    looked = plates.reactions(from_s, from_s + (len(raw) - 1) / rate)
    values, weight = ground_speed.metrics(plates, swing, looked)
    column = {n: i for i, n in enumerate(names)}
    moved = motion(raw, column, found["shape"], rate, impact, slots["takeaway_start"])
    moved["times"] += from_s
    _, _, sharp, noise = looked
    values |= {"noise.up": noise[1], "sharp_peak.up": sharp[1].max()}
    return values | ground_speed.audit(plates, moved, looked, weight)


folder = Path(sys.argv[1])
task = json.loads((folder / "window.json").read_text())
raw = np.fromfile(folder / "window.f64").reshape(task["slots"], len(task["landmarks"]), 3)
assert not np.isnan(raw).any(), "this script fills no gaps"
CLUB_KG, CLUB_BALANCE_M, CLUB_KG_M2 = task["club"]
plates = None
if "ground" in task:
    plates = ground_speed.Plates(task["ground"], task["club"], np.fromfile(folder / "ground.f64"))


def once():
    given = raw, task["landmarks"], task["rate"], task["impact"]
    values, found = kinematics(*given)
    return values, ground(*given, task["from_s"], found, plates) if plates else {}


def timed():
    begin = time.perf_counter()
    once()
    return time.perf_counter() - begin


for _ in sys.stdin:
    print(min(timed() for _ in range(task["in_a_row"])), flush=True)
values, of_ground = once()
deg = lambda k: float(np.degrees(values[k]))
print(json.dumps({
    "ground": {k: float(v) for k, v in of_ground.items()},
    "kinematics": {
        "pelvis_rotation@top": round(deg("pelvis_rotation@top"), 2),
        "thorax_rotation@top": round(deg("thorax_rotation@top"), 2),
        "separation_peak": round(deg("separation_peak"), 2),
        "knee_flexion.lead@top": round(deg("knee_left@top"), 2),
        "downswing_time": round(float(values["downswing_time"]), 4),
        "head_speed_peak": round(float(values["head_speed_peak"]), 2),
        "work_total": round(float(values["work_total"]), 1),
        "kinetic_energy_peak.arms a kg": round(float(values["energy_peak.arms"]), 3),
        "mass_centre_shift@top": round(float(values["mass_centre_shift@top"] - values["mass_centre_shift@address"]), 4),
        "cluster_residual.pelvis": round(float(values["cluster_residual.pelvis"]), 6),
    },
}))
