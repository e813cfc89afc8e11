"""Reads recordings with the MCAP reference library of PyPI (`mcap`) and the written format only.

    mcap_list.py FILE...

Prints one JSON list with an entry per file: metadata, channel, and every entry of every batch as
[time_ns, hex of the datagram or null for a tick]. A file that is torn is read up to the tear and
has `torn` set to what the library says.
"""

import json
import struct
import sys

from mcap.reader import make_reader
from mcap.records import Channel, Message, Metadata, Schema
from mcap.stream_reader import StreamReader

TICK = 0xFFFFFFFF


def entries(batch):
    at = 0
    while at < len(batch):
        length, time = struct.unpack_from("<IQ", batch, at)
        at += 12
        if length == TICK:
            yield [time, None]
            continue
        yield [time, batch[at : at + length].hex()]
        at += length


def listed(path):
    found = {"file": path, "entries": [], "log_times": [], "publish_times": [], "torn": None}
    with open(path, "rb") as handle:
        try:
            for record in StreamReader(handle, validate_crcs=True).records:
                take(record, found)
        except Exception as error:  # what the library says about a torn file is part of the result
            found["torn"] = repr(error)
    return found


def take(record, found):
    if isinstance(record, Metadata):
        found["metadata"] = {"name": record.name, **record.metadata}
    elif isinstance(record, Schema):
        found["schema"] = [record.name, record.encoding]
    elif isinstance(record, Channel):
        found["channel"] = [record.topic, record.message_encoding]
    elif isinstance(record, Message):
        found["log_times"].append(record.log_time)
        found["publish_times"].append(record.publish_time)
        found["entries"] += entries(record.data)


def summary(path):
    with open(path, "rb") as handle:
        statistics = make_reader(handle).get_summary().statistics
    return {"messages": statistics.message_count, "chunks": statistics.chunk_count}


def main():
    files = []
    for path in sys.argv[1:]:
        file = listed(path)
        if file["torn"] is None:
            file["summary"] = summary(path)
        files.append(file)
    print(json.dumps(files))


if __name__ == "__main__":
    main()
