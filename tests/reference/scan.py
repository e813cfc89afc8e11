"""Where bytes stand in a folder, also behind compression.

    scan.py DIR HEX...

Prints JSON: for each needle the places `file: how`, `how` being `bytes` (the file as it is: pages and log
of SQLite, C3D, JSON), `chunk` (messages of an MCAP file, decompressed by package `mcap`) or `table` (texts
of a Parquet file, by DuckDB). A file that cannot be read to its end in its own format is an error.
"""

import json
import sys
from pathlib import Path

import duckdb
from mcap.records import Message
from mcap.stream_reader import StreamReader


def readings(path):
    yield "bytes", path.read_bytes()
    if path.suffix == ".mcap":
        with open(path, "rb") as handle:
            records = StreamReader(handle, validate_crcs=True).records
            yield "chunk", b"\0".join(r.data for r in records if isinstance(r, Message))
    if path.suffix == ".parquet":
        rows = duckdb.sql(f"SELECT * FROM read_parquet('{path}')").fetchall()
        yield "table", "\0".join(str(cell) for row in rows for cell in row).encode()


def main():
    top = Path(sys.argv[1])
    needles = {text: bytes.fromhex(text) for text in sys.argv[2:]}
    found = {text: [] for text in needles}
    for path in sorted(p for p in top.rglob("*") if p.is_file()):
        for how, content in readings(path):
            for text, needle in needles.items():
                if needle in content:
                    found[text].append(f"{path.relative_to(top)}: {how}")
    print(json.dumps([found[text] for text in needles]))


if __name__ == "__main__":
    main()
