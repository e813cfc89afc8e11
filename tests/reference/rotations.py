"""SciPy's view of poses and rotations: rotations.py

Prints seeded random cases with SciPy's answers (`scipy.spatial.transform.Rotation`):
"fits"    clusters with noise; `align_vectors` of the centred points: rotation (rows), root of the
          summed squares of what is left
"long"    the same for clusters up to twenty times as long as wide (a club), noise included
"mirrors" clusters measured in a mirror: the nearest proper rotation by the same call
"turns"   rotation matrices with `as_euler` "ZXY" and "YXZ" (intrinsic) and `as_rotvec`
"means"   sets of rotations and `mean`
"spins"   a body with angular velocity known by its formula: the rotation at each sample, integrated by a
          solver to 1e-13, and that velocity
"""
import json

import numpy as np
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

rng = np.random.default_rng(20)


def fit(model, measured):
    a, b = model - model.mean(0), measured - measured.mean(0)
    r, left = Rotation.align_vectors(b, a)
    return {
        "model": model.tolist(),
        "measured": measured.tolist(),
        "rotation": r.as_matrix().tolist(),
        "left": left,
    }


def cluster(n, flat):
    while True:
        model = rng.uniform(-0.15, 0.15, (n, 3)) * ([1, 1, 0] if flat else [1, 1, 1])
        s = np.linalg.svd(model - model.mean(0), compute_uv=False)
        # Collinear clusters have no one answer; they are refused elsewhere.
        if s[1] > 0.2 * s[0]:
            return model


fits, mirrors = [], []
for k in range(200):
    model = cluster(3 + k % 4, k % 3 == 0)
    turn, shift = Rotation.random(random_state=rng), rng.uniform(-3, 3, 3)
    noise = rng.normal(0, [0, 0.0005, 0.003][k % 3], model.shape)
    fits.append(fit(model, turn.apply(model) + shift + noise))
    if len(model) > 3 and k % 3:
        mirrors.append(fit(model, turn.apply(model * [1, 1, -1]) + shift + noise))

long = []
for k in range(100):
    thin = [1.0, 10 ** rng.uniform(-1.3, -0.5), 0.02 * (k % 3)]
    model = cluster(3 + k % 4, False) * 4 * thin
    turn, shift = Rotation.random(random_state=rng), rng.uniform(-3, 3, 3)
    long.append(fit(model, turn.apply(model) + shift + rng.normal(0, 0.0005 * (k % 2), model.shape)))

turns = []
for r in [
    *Rotation.random(200, random_state=rng),
    *(Rotation.from_rotvec(rng.normal(0, 1, 3) * s) for s in [1e-12, 1e-8, 1e-6, 1e-4, 1e-2]),
    *(Rotation.from_rotvec(v / np.linalg.norm(v) * (np.pi - s)) for v, s in zip(rng.normal(0, 1, (4, 3)), [1e-3, 1e-5, 1e-7, 1e-9])),
]:
    turns.append(
        {
            "matrix": r.as_matrix().tolist(),
            "zxy": r.as_euler("ZXY").tolist(),
            "yxz": r.as_euler("YXZ").tolist(),
            "vector": r.as_rotvec().tolist(),
        }
    )

means = []
for k in range(40):
    about = Rotation.random(random_state=rng)
    spread = Rotation.from_rotvec(rng.normal(0, [0.02, 0.3, 1.0][k % 3], (5 + k, 3)))
    all_of_them = spread * about
    means.append(
        {"set": all_of_them.as_matrix().tolist(), "mean": all_of_them.mean().as_matrix().tolist()}
    )


def velocity(t):
    """Of the order of a thorax in a downswing, rad/s: a hump with a wandering axis."""
    return np.array([2 * np.cos(3 * t), 12 * np.exp(-(((t - 0.25) / 0.09) ** 2)), 4 * np.sin(5 * t)])


def rate_of(t, q):
    x, y, z = velocity(t)
    return 0.5 * np.array([[0, -z, y, x], [z, 0, -x, y], [-y, x, 0, z], [-x, -y, -z, 0]]) @ q


spins = []
for fs in [250.0, 1000.0]:
    t = np.arange(int(0.5 * fs)) / fs
    q = solve_ivp(rate_of, (0, t[-1]), [0, 0, 0, 1], "DOP853", t, rtol=1e-13, atol=1e-13).y.T
    spins.append(
        {
            "rate": fs,
            "matrices": Rotation.from_quat(q).as_matrix().tolist(),
            "velocity": [velocity(s).tolist() for s in t],
        }
    )

print(json.dumps({"fits": fits, "long": long, "mirrors": mirrors, "turns": turns, "means": means, "spins": spins}))
