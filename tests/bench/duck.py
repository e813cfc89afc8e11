"""The questions of `queries.rs` by DuckDB over the values of the same store: read once into a Parquet file, then asked
as often as there, in one process. Prints seconds (medians) and the percentiles as JSON."""

import json
import os
import sqlite3
import statistics
import sys
import time

import duckdb
import numpy as np

asked = json.load(open(sys.argv[1]))
ids, indices = asked["ids"], np.array(asked["indices"])
columns = [f"m{n}" for n in range(len(ids))]
parquet = os.path.join(os.path.dirname(sys.argv[1]), "values.parquet")

began = time.perf_counter()
store = sqlite3.connect(f"file:{asked['store']}?mode=ro", uri=True)
(count,) = store.execute("SELECT count(*) FROM results").fetchone()
golfer, block = np.empty(count, np.int32), np.empty(count, np.int64)
values = np.empty((len(ids), count))
numbers = {}
rows = store.execute(
    "SELECT s.student, w.block, r.metrics FROM swings w JOIN sessions s ON s.id = w.session JOIN results r ON r.swing = w.id"
)
for at, (student, of, blob) in enumerate(rows):
    golfer[at] = numbers.setdefault(student, len(numbers))
    block[at] = of
    # Format 1 of the packed values: format, count, then the values.
    width = int.from_bytes(blob[1:3], "little")
    values[:, at] = np.frombuffer(blob, "<f8", width, 3)[indices]
db = duckdb.connect()
frame = {"golfer": golfer, "block": block} | dict(zip(columns, values))
db.execute(f"COPY (SELECT * FROM frame) TO '{parquet}' (FORMAT parquet)")
del frame, values
read = time.perf_counter() - began


def seconds(question):
    took = []
    for _ in range(asked["rounds"]):
        began = time.perf_counter()
        answer = db.execute(question).fetchall()
        took.append(time.perf_counter() - began)
    return statistics.median(took), answer


regular = numbers[asked["student"]]
medians = ", ".join(f"median({c}) AS {c}" for c in columns)
golfers = f"SELECT {medians} FROM '{parquet}' WHERE golfer <> {regular} GROUP BY golfer"
places = ", ".join(f"quantile_cont({c}, [0.1, 0.5, 0.9])" for c in columns)
cohort, answer = seconds(f"SELECT {places} FROM ({golfers})")
db.execute(f"CREATE TABLE medians AS {golfers}")
of_medians, _ = seconds(f"SELECT {places} FROM medians")
quartiles = ", ".join(f"quantile_cont({c}, [0.25, 0.5, 0.75])" for c in columns[:20])
student, _ = seconds(f"SELECT block, {quartiles} FROM '{parquet}' WHERE golfer = {regular} GROUP BY block")
os.remove(parquet)
print(
    json.dumps(
        {
            "cohort": cohort,
            "of_medians": of_medians,
            "student": student,
            "read": read,
            "version": duckdb.__version__,
            "bands": dict(zip(ids, answer[0])),
        }
    )
)
