"""Makes the results of an archive those of an earlier program, with Python's SQLite and the written
format of the packed values only.

    archive_older.py STORE.DB

Every result becomes version 0.0.9; the first value of each is one larger than it was. Prints the values
of the last result as [first value, its standard uncertainty, count], and the schema's version.
"""

import json
import math
import sqlite3
import struct
import sys


def main():
    db = sqlite3.connect(sys.argv[1])
    seen = None
    for swing, blob in db.execute("SELECT swing, metrics FROM results").fetchall():
        form, count = struct.unpack_from("<BH", blob)
        assert form == 1
        (value,) = struct.unpack_from("<d", blob, 3)
        (standard,) = struct.unpack_from("<d", blob, 3 + 8 * count)
        seen = [None if math.isnan(v) else v for v in (value, standard)] + [count]
        blob = blob[:3] + struct.pack("<d", value + 1) + blob[11:]
        db.execute("UPDATE results SET analysis = '0.0.9', metrics = ? WHERE swing = ?", (blob, swing))
    db.commit()
    version = db.execute("PRAGMA user_version").fetchone()[0]
    print(json.dumps({"seen": seen, "version": version}))


if __name__ == "__main__":
    main()
