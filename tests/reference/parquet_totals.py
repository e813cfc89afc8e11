"""Totals by metric from an export as Parquet, by DuckDB, and from one as JSON, in plain Python.

    parquet_totals.py PARQUET_DIR JSON_DIR

Prints JSON: `rows` of the table, its `columns` with types, its `bays` and `months`, and `metrics`: for
each [count, sum, least, largest, sum of uncertainties, missing] twice, of DuckDB and of the JSON files.
"""

import json
import math
import sys
from pathlib import Path

import duckdb


def of_parquet(folder):
    table = f"read_parquet('{folder}/**/*.parquet', hive_partitioning = true)"
    sql = duckdb.sql
    totals = sql(
        f"""SELECT metric, count(value), sum(value), min(value), max(value), sum(uncertainty),
            count(*) FILTER (quality = 'missing') FROM {table} GROUP BY metric"""
    ).fetchall()
    ones = lambda what: [str(row[0]) for row in sql(f"SELECT DISTINCT {what} AS x FROM {table} ORDER BY x").fetchall()]
    return {
        "rows": sql(f"SELECT count(*) FROM {table}").fetchall()[0][0],
        "columns": {row[0]: row[1] for row in sql(f"DESCRIBE SELECT * FROM {table}").fetchall()},
        "bays": ones("bay"),
        "months": ones("month"),
        "students": ones("student"),
        "impacts": ones("epoch_us(impact)"),
    }, {row[0]: list(row[1:]) for row in totals}


def of_json(folder):
    totals = {}
    for path in sorted(Path(folder).glob("*.json")):
        report = json.loads(path.read_text())["report"]
        for name, metric in report["measurement"]["metrics"].items():
            totals.setdefault(name, []).append(metric)
    def total(metrics):
        values = [m["value"] for m in metrics if m["value"] is not None]
        known = [m.get("uncertainty") or {} for m in metrics]
        spreads = [u.get("standard", u.get("agreement")) for u in known]
        spreads = [s for s in spreads if s is not None]
        some = lambda of, list: of(list) if list else None
        return [
            len(values), some(math.fsum, values), some(min, values), some(max, values),
            some(math.fsum, spreads), len(metrics) - len(values),
        ]
    return {name: total(metrics) for name, metrics in totals.items()}


def main():
    found, parquet = of_parquet(sys.argv[1])
    found["metrics"] = {name: [parquet.get(name), total] for name, total in of_json(sys.argv[2]).items()}
    found["only_in_parquet"] = sorted(set(parquet) - set(found["metrics"]))
    print(json.dumps(found))


if __name__ == "__main__":
    main()
