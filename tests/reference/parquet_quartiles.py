"""How many values groups of swings have of a metric, their median and quartiles, by DuckDB from Parquet.

    parquet_quartiles.py PARQUET_DIR '{"metric": ID, "blocks": [[SWING, ...], ...]}'

Prints JSON: for each group [count, median, first quartile, third quartile].
"""

import json
import sys

import duckdb


def main():
    asked = json.loads(sys.argv[2])
    table = f"read_parquet('{sys.argv[1]}/**/*.parquet')"
    query = f"""SELECT count(value), median(value), quantile_cont(value, 0.25), quantile_cont(value, 0.75)
        FROM {table} WHERE metric = $metric AND list_contains($swings, swing)"""
    found = [
        duckdb.execute(query, {"metric": asked["metric"], "swings": swings}).fetchone() for swings in asked["blocks"]
    ]
    print(json.dumps(found))


if __name__ == "__main__":
    main()
