"""Another library's view of force plates: plates.py FILE STRIDE

ezc3d's force-platform module on a C3D file: for every plate, at every STRIDE-th sample, force (N),
moment about the middle of the surface (N m), center of pressure (m) and free moment (N m), all in the
file's axes, in the sense of the file's channels. A TYPE-1 file that ezc3d finds no samples in is read
by the library c3d; its center of pressure is placed here. Prints a list of plates, each a list of
[force, moment or null, center, free moment].
"""
import json
import sys

import ezc3d
import numpy as np


def by_c3d(path, fp, stride):
    import c3d

    with open(path, "rb") as file:
        reader = c3d.Reader(file)
        channels = np.concatenate([a for _, _, a in reader.read_frames()], axis=1)
    corners = np.array(fp["CORNERS"]["value"])[:, :, 0].T
    x, y = corners[0] - corners[1], corners[0] - corners[3]
    z = np.cross(x, y)
    y = np.cross(z, x)
    axes = np.stack([v / np.linalg.norm(v) for v in (x, y, z)], axis=1)
    rows = []
    for s in channels[:6, ::stride].T:
        center = corners.mean(axis=0) + axes @ [s[3], s[4], 0]
        rows.append([(axes @ s[:3]).tolist(), None, (center * 1e-3).tolist(), (axes @ [0, 0, s[5]] * 1e-3).tolist()])
    return [rows]


path, stride = sys.argv[1], int(sys.argv[2])
file = ezc3d.c3d(path, extract_forceplat_data=True)
plates = []
for p in file["data"]["platform"]:
    if p["force"].shape[1] == 0:
        plates = by_c3d(path, file["parameters"]["FORCE_PLATFORM"], stride)
        break
    columns = zip(
        p["force"][:, ::stride].T,
        p["moment"][:, ::stride].T * 1e-3,
        p["center_of_pressure"][:, ::stride].T * 1e-3,
        p["Tz"][:, ::stride].T * 1e-3,
    )
    plates.append([[np.nan_to_num(v).tolist() for v in row] for row in columns])
print(json.dumps(plates))
