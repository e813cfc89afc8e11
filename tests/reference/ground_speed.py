"""The ground of one swing in vectorized NumPy/SciPy; `kinematics_speed.py` calls and times it.

What is done once when plates describe themselves and as samples come in is in `Plates`: their places, the
matrix from channels to the bay, the zero. What a look at a swing costs is in `reactions` (believable,
zero off, moments about the surface, low-passed at both cut-offs, turned into the bay, noise), `metrics`
(who stands where, weight, forces, centers of pressure, moments) and `audit` (plates against motion under
bells of time, and the search for the plates' delay; faults are looked for only where something is odd,
which is not so here).

Channels lie first (plate by plate: three forces, three moments), so that filters and medians run along
memory. N, N m, metres, seconds since the take's first frame; X to the target, Y up, Z to the ball.
"""
import numpy as np
from scipy import signal

GRAVITY, GATE_N = 9.80665, 20.0
CUTOFF_HZ = 50.0
LAGS_S = np.arange(-15, 16) * 0.004


def cross(a, b):
    """Vectors along the last axis but one (three of them), so that rows stay whole."""
    ax, ay, az = a[..., 0, :], a[..., 1, :], a[..., 2, :]
    bx, by, bz = b[..., 0, :], b[..., 1, :], b[..., 2, :]
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], -2)


def skew(v):
    return np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])


def biquad(rate, cutoff):
    """Second-order Butterworth whose two passes have -3 dB at the cut-off (Robertson & Dowling 2003)."""
    w = np.tan(np.pi * cutoff / rate) / (2**0.5 - 1) ** 0.25
    k1, k2 = 2**0.5 * w, w * w
    a0 = k2 / (1 + k1 + k2)
    b1 = 2 * a0 * (1 / k2 - 1)
    return np.array([a0, 2 * a0, a0]), np.array([1.0, -b1, -(1 - 4 * a0 - b1)])


class Plates:
    """Two plates, and all that they sent."""

    def __init__(self, told, club, samples):
        self.rate = told["rate"]
        self.club_kg, self.club_balance, self.club_inertia = club
        self.raw = np.ascontiguousarray(samples.reshape(-1, 12).T)
        corners = np.array([p["corners"] for p in told["plates"]])
        a, b, c, d = corners.transpose(1, 0, 2)
        along = np.stack([a + d - b - c, a + b - c - d], 1) / 2
        size = np.linalg.norm(along, axis=2)
        self.center, self.half, x = corners.mean(1), size / 2, along[:, 0] / size[:, :1]
        z = np.cross(along[:, 0], along[:, 1])
        z /= np.linalg.norm(z, axis=1, keepdims=True)
        self.axes = np.stack([x, np.cross(z, x), z], 2)
        # Moments about the sensor to moments about the surface, and plate axes to those of the bay.
        local, self.turn = np.eye(12), np.zeros((12, 12))
        for n, plate in enumerate(told["plates"]):
            at = 6 * n
            local[at + 3 : at + 6, at : at + 3] = -skew(np.array(plate["origin"]))
            self.turn[at : at + 3, at : at + 3] = self.turn[at + 3 : at + 6, at + 3 : at + 6] = self.axes[n]
        self.to_bay = self.turn @ local
        self.zeros = self.quiet_and_empty(local @ self.raw)
        self.low, self.sharp = biquad(self.rate, CUTOFF_HZ), biquad(self.rate, 2 * CUTOFF_HZ)
        self.pad = int(np.ceil(2 * self.rate / CUTOFF_HZ))
        half = int(np.ceil(4 * self.rate / CUTOFF_HZ))
        pulse = np.zeros(2 * half + 1)
        pulse[half] = 1.0
        answer = self.low_pass(self.low, pulse)
        self.taken = 1 - 2 * answer[half] + answer @ answer

    def low_pass(self, by, x):
        return signal.filtfilt(*by, x, axis=-1, padlen=min(self.pad, x.shape[-1] - 1))

    def quiet_and_empty(self, local):
        """What each plate read over half a second without movement and load: end and mean, the last last."""
        n = int(0.5 * self.rate)
        found = [[], []]
        for k in range(local.shape[1] // n):
            part = local[:, k * n : (k + 1) * n].reshape(2, 6, n)
            quiet = (part[:, :3].std(2, ddof=1) <= 2.5).all(1)
            for plate in np.flatnonzero(quiet):
                mean, last = part[plate].mean(1), found[plate][-1] if found[plate] else None
                off = mean if last is None else mean - last[1]
                late = last is None or (k + 1) * n - last[0] >= self.rate
                if np.linalg.norm(off[:3]) <= (20.0 if last is None else 5.0) and late:
                    found[plate].append(((k + 1) * n, mean))
        return found

    def reactions(self, from_s, to_s):
        """Force and moment on the golfer in the bay between two times: usual, sharp, noise."""
        # A thousandth of a sample is rounding.
        first, last = int(np.ceil(from_s * self.rate - 1e-3)), int(np.floor(to_s * self.rate + 1e-3)) + 1
        raw = self.raw[:, first:last]
        low, high = raw.min(1), raw.max(1)
        assert not np.isnan(low).any() and (high > low).reshape(2, 6).any(1).all(), "a dead channel"
        limit = max(8, int(np.ceil(0.02 * self.rate)))
        for extreme in (low, high):
            stays = (raw == extreme[:, None]).sum(1) >= limit
            assert not (stays & (abs(extreme) > 0.5 * np.maximum(abs(low), abs(high)))).any(), "at its limit"
        zero = np.concatenate([[z for end, z in each if end <= last][-1] for each in self.zeros])
        bay = self.to_bay @ raw - (self.turn @ zero)[:, None]
        smooth, sharp = self.low_pass(self.low, bay), self.low_pass(self.sharp, bay)
        noise = np.median(abs(bay - smooth), axis=1) / 0.6745 / self.taken**0.5
        assert (smooth[[1, 7]].mean(1) > -100.0).all(), "signs turned round"
        # In plate axes: how often the center of pressure lies outside the surface.
        fx, fy, fz, mx, my, mz = (self.turn.T @ smooth).reshape(2, 6, -1).transpose(1, 0, 2)
        loaded = abs(fz) >= 5 * GATE_N
        with np.errstate(divide="ignore", invalid="ignore"):
            out = (abs(my / fz) > self.half[:, :1] + 0.03) | (abs(mx / fz) > self.half[:, 1:] + 0.03)
        assert ((out & loaded).sum(1) <= 0.05 * loaded.sum(1)).all(), "its place is wrong"
        return first / self.rate, smooth, sharp, noise

    def read(self, start_s, series, times):
        """All channels at any times, straight between samples."""
        place = (times - start_s) * self.rate
        before = place.astype(int)
        a, b = series.take(before, axis=1), series.take(before + 1, axis=1)
        return a + (place - before) * (b - a)

    def total(self, wrenches):
        """Lead foot, trail foot and both: force, center of pressure (x, z), its height, vertical moment."""
        forces, moments = wrenches.reshape(2, 2, 3, -1).transpose(1, 0, 2, 3)
        moments = moments + cross(np.broadcast_to(self.center[:, :, None], forces.shape), forces)
        lead, trail = self.lead, 1 - self.lead
        f = np.stack([forces[lead], forces[trail], forces.sum(0)])
        m = np.stack([moments[lead], moments[trail], moments.sum(0)])
        lifted = self.center[:, 1] @ forces[:, 1]
        lifted = np.stack([self.center[lead, 1] * forces[lead, 1], self.center[trail, 1] * forces[trail, 1], lifted])
        up = np.where(abs(f[:, 1]) < GATE_N, np.nan, f[:, 1])
        height = lifted / up
        x, z = (m[:, 2] + height * f[:, 0]) / up, -(m[:, 0] - height * f[:, 2]) / up
        torque = m[:, 1] - (z * f[:, 0] - x * f[:, 2])
        return f, x, z, height, np.nan_to_num(torque)

    def stand(self, feet, wrenches):
        """Which plate is the lead foot's: soles on surfaces, checked by the centers of pressure."""
        along, across = np.linspace(0, 1, 16), np.linspace(-1, 1, 5)
        owners = []
        f, m = wrenches.reshape(2, 2, 3).transpose(1, 0, 2)
        pressure = self.center + np.stack([m[:, 2], 0 * m[:, 2], -m[:, 0]], 1) / f[:, 1:2]
        for heel, toe in feet:
            sole = 1.3 * (toe - heel)
            beside = np.array([-sole[2], 0.0, sole[0]])
            beside *= 0.045 / np.linalg.norm(beside)
            points = heel + along[:, None, None] * sole + across[:, None] * beside
            on = np.einsum("pci,akpc->paki", self.axes[:, :, :2], points[:, :, None] - self.center)
            share = (abs(on) <= self.half[:, None, None]).all(3).mean((1, 2))
            own = int(np.argmax(share))
            assert share[own] >= 0.9 and share[1 - own] < 0.1, "a foot is on no plate alone"
            flat = (pressure[own] - heel)[[0, 2]]
            line = sole[[0, 2]]
            off = flat - line * np.clip(flat @ line / (line @ line), 0, 1)
            assert np.hypot(*off) < 0.12, "no pressure under its foot"
            owners.append(own)
        assert owners[0] != owners[1]
        self.lead = owners[0]


class Curves:
    """Curves on the plates' own samples (along the last axis), read between them."""

    def __init__(self, t, rate):
        self.t, self.rate = t, rate

    def at(self, curves, time):
        place = np.clip((np.asarray(time) - self.t[0]) * self.rate, 0, len(self.t) - 1.001)
        k = place.astype(int)
        return curves[..., k] + (place - k) * (curves[..., k + 1] - curves[..., k])

    def within(self, span):
        return np.searchsorted(self.t, span[0], "right"), np.searchsorted(self.t, span[1], "left")

    def peak(self, curves, span):
        """Largest values and when, by the parabola through the highest sample and its neighbours."""
        a, b = self.within(span)
        k = a + np.argmax(curves[:, a:b], axis=1)
        row = np.arange(len(curves))
        left, top, right = curves[row, k - 1], curves[row, k], curves[row, np.minimum(k + 1, len(self.t) - 1)]
        bend = left - 2 * top + right
        with np.errstate(divide="ignore", invalid="ignore"):
            shift = np.where((left <= top) & (right <= top) & (bend < 0), 0.5 * (left - right) / bend, 0.0)
        time, value = self.t[k] + shift / self.rate, top - 0.25 * (left - right) * shift
        for end in span:
            at_end = self.at(curves, end)
            time, value = np.where(at_end > value, end, time), np.maximum(at_end, value)
        return time, value

    def integral(self, curve, span):
        a, b = self.within(span)
        t = np.concatenate([span[:1], self.t[a:b], span[1:]])
        return np.trapezoid(np.concatenate([[self.at(curve, span[0])], curve[a:b], [self.at(curve, span[1])]]), t)


def metrics(plates, swing, looked):
    """Everything that is read of the plates; `swing`: what the kinematics found."""
    start_s, smooth, _, _ = looked
    rate, times = plates.rate, swing["times"]
    quiet = swing["quiet_s"]
    a, b = (int((t - start_s) * rate) for t in quiet)
    standing = smooth[:, a : b + 1].mean(1)
    plates.stand(swing["feet"], standing)
    whole = standing[1] + standing[7]
    weight = whole - plates.club_kg * GRAVITY
    first, last = a - 1, int((times["impact"] - start_s) * rate) + 3
    grid = Curves(start_s + np.arange(first, last) / rate, rate)
    force, x, z, _, torque = plates.total(smooth[:, first:last])
    up, along, across = force[:, 1] / weight, force[:, 0] / weight, force[:2, 2]
    lead, trail = ((heel + toe)[[0, 2]] / 2 for heel, toe in swing["feet"])
    line = lead - trail
    lead_share = ((x[2] - trail[0]) * line[0] + (z[2] - trail[1]) * line[1]) / (line @ line)
    couple = np.nan_to_num(-(x[:2] - x[2]) * across).sum(0)
    share = up[0] / np.where(force[2, 1] >= GATE_N, up[2], np.nan)

    whole_swing, down = (times["takeaway_start"], times["impact"]), (times["top"], times["impact"])
    values = {}
    read = np.stack([up[0], up[1], share, lead_share])
    names = "vertical_force.lead", "vertical_force.trail", "vertical_share_lead", "cop_lead_share"
    at_events = grid.at(read, list(times.values()))
    middle = max(quiet[1] - 0.05, 0.5 * (quiet[0] + quiet[1]))
    c, d = grid.within((quiet[0], middle))
    address = read[:, c:d].mean(1)
    for name, row, still in zip(names, at_events, address):
        values |= {f"{name}@{event}": v for event, v in zip(times, row)} | {f"{name}@address": still}
        values |= {f"{name}@{event} change": v - still for event, v in zip(times, row)}
    when, most = grid.peak(np.stack([up[0], up[1], *torque, couple, -up[2]]), whole_swing)
    for side, n in (("lead", 0), ("trail", 1)):
        values[f"vertical_force_peak.{side}"] = most[n]
        values[f"vertical_force_peak_time.{side}"] = times["impact"] - when[n]
        phase = 1 if when[n] < down[0] else 2 if when[n] < 0.5 * sum(down) else 3
        values[f"vertical_force_peak_phase.{side}"] = phase
        values[f"free_moment_peak.{side}"] = most[2 + n]
    values["ground_torque_vertical_peak"] = most[4]
    values["ground_torque_vertical_peak_time"] = times["impact"] - when[4]
    values["fore_aft_couple_peak"], values["unweighting_min"] = most[5], -most[6]
    pushed = grid.peak(np.stack([along[2], along[1], -along[0]]), down)[1]
    for name, v in zip(("both", "trail", "lead"), pushed * [1, 1, -1]):
        values[f"lateral_force_peak.{name}"] = v
    slope = np.gradient(up[0], 1 / rate)
    values["loading_rate.lead"] = grid.peak(slope[None], (times["takeaway_end"], times["impact"]))[1][0]
    steps = np.append(np.arange(whole_swing[0], whole_swing[1], 0.010), whole_swing[1])
    way = np.diff(grid.at(np.stack([x[2], z[2]]), steps), axis=1)
    values["cop_path_length"] = np.hypot(*way).sum()
    values["vertical_impulse_down"] = grid.integral(force[2, 1], down) - whole * (down[1] - down[0])

    # The mass center of golfer and club beside the line of the ground's force, from the top to impact.
    place, center = swing["places_s"], swing["mass_centre"]
    club = swing["grip"] + (plates.club_balance - 0.13) * swing["shaft"]
    center = center + (club - center) * (plates.club_kg / (whole / GRAVITY))
    late = (place >= down[0]) & (place <= down[1])
    force, x, _, height, _ = plates.total(plates.read(start_s, smooth, place[late]))
    force, x, height = force[2], x[2], height[2]
    lever = ((x - center[late, 0]) * force[1] - (height - center[late, 1]) * force[0]) / np.hypot(*force[:2])
    near = lever >= 0.9 * lever.max()
    bend = np.polyfit(place[late][near] - down[1], lever[near], 2)
    values["frontal_moment_arm_peak"] = bend[2] - bend[1] ** 2 / (4 * bend[0]) if bend[0] < 0 else lever.max()
    values |= {f"kinetic_energy_peak.{k}": v * weight / GRAVITY for k, v in swing["energy"].items()}
    return values, weight


def bell(rate):
    """Weights of a mean over time with their first and second difference."""
    half = max(round(0.060 * rate), 3)
    weight = np.clip(1 - (np.arange(-half - 2, half + 3) / (half + 1)) ** 2, 0, None) ** 3
    weight /= weight.sum()
    slope, bend = 0.5 * (weight[2:] - weight[:-2]) * rate, np.diff(weight, 2) * rate**2
    return weight[1:-1], slope, bend


def audit(plates, motion, looked, weight):
    """Plates against motion: what is left over, and the delay at which least force is."""
    start_s, smooth, _, _ = looked
    rate, times, start = motion["rate"], motion["times"], motion["start"]
    weights = bell(rate)
    n, step = len(weights[0]), max(round(0.008 * rate), 1)
    begin = np.arange(start - n // 2, len(times) - n + 1, step)
    # A column a bell.
    columns = np.zeros((3, len(times), len(begin)))
    rows = begin[:, None] + np.arange(n)
    columns[:, rows, np.arange(len(begin))[:, None]] = np.stack(weights)[:, None]
    mean, slope, bend = columns
    body_kg = weight / GRAVITY
    mass = body_kg + plates.club_kg
    about = plates.center.mean(0)
    club, club_v = motion["club"], np.gradient(motion["club"], 1 / rate, axis=0)
    center = motion["centre"] + (club - motion["centre"]) * (plates.club_kg / mass)
    spin = np.cross(motion["shaft"], np.gradient(motion["shaft"], 1 / rate, axis=0))
    angular = body_kg * motion["angular"](about) + plates.club_kg * np.cross(club - about, club_v)
    angular += plates.club_inertia * spin
    pull = np.array([0.0, mass * GRAVITY, 0.0])[:, None]
    force = mass * (center.T @ bend) + pull
    moment = cross(center.T @ mean - about[:, None], np.broadcast_to(pull, force.shape)) - angular.T @ slope
    # All delays at once.
    late = plates.read(start_s, smooth, times + LAGS_S[:, None])
    sides = (late @ mean).reshape(2, 2, 3, len(LAGS_S), -1).transpose(1, 0, 3, 2, 4)
    forces, moments = sides
    arm = (plates.center - about)[:, None, :, None]
    moments = moments + cross(np.broadcast_to(arm, forces.shape), forces)
    over = [((s.sum(0) - own) ** 2).sum(1).mean(1) / weight**2 for s, own in ((forces, force), (moments, moment))]
    on_time = len(LAGS_S) // 2
    left = [o[on_time] for o in over]
    k = int(np.argmin(over[0]))
    lag = LAGS_S[k]
    if 0 < k < len(LAGS_S) - 1:
        before, least, after = over[0][k - 1 : k + 2]
        lag += 0.5 * (before - after) / (before - 2 * least + after) * 0.004
    return {"force_residual": left[0] ** 0.5, "force_marker_lag": lag, "moment": left[1] ** 0.5}
