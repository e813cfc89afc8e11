"""Reads recordings with the MCAP reference library of PyPI (`mcap`) and the written format only.

    mcap_list.py FILE...

Prints one JSON list with an entry per file: metadata, the datagrams' channel, every entry of every batch
as [time_ns, hex of the datagram or null for a tick], and `notes`: for each topic in JSON its messages as
text with their times, each valid by the JSON Schema of its channel (package `jsonschema`). A file that is torn is read up to the tear and
has `torn` set to what the library says.
"""

import json
import struct
import sys

import jsonschema
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
    found = {"file": path, "entries": [], "log_times": [], "publish_times": [], "torn": None, "notes": {}}
    schemas, channels = {}, {}
    with open(path, "rb") as handle:
        try:
            for record in StreamReader(handle, validate_crcs=True).records:
                if isinstance(record, Schema):
                    schemas[record.id] = record
                elif isinstance(record, Channel):
                    channels[record.id] = record
                else:
                    take(record, found, schemas, channels)
        except jsonschema.ValidationError:
            raise
        except Exception as error:  # what the library says about a torn file is part of the result
            found["torn"] = repr(error)
    for channel in channels.values():
        schema = schemas[channel.schema_id]
        if channel.topic == "datagrams":
            found["schema"] = [schema.name, schema.encoding]
            found["channel"] = [channel.topic, channel.message_encoding]
    return found


def take(record, found, schemas, channels):
    if isinstance(record, Metadata):
        found["metadata"] = {"name": record.name, **record.metadata}
    elif isinstance(record, Message):
        channel = channels[record.channel_id]
        if channel.message_encoding == "json":
            text = record.data.decode()
            schema = json.loads(schemas[channel.schema_id].data)
            jsonschema.validate(json.loads(text), schema)
            found["notes"].setdefault(channel.topic, []).append([record.log_time, record.publish_time, text])
            return
        found["log_times"].append(record.log_time)
        found["publish_times"].append(record.publish_time)
        found["entries"] += entries(record.data)


def summary(path):
    with open(path, "rb") as handle:
        summary = make_reader(handle).get_summary()
    statistics = summary.statistics
    counts = statistics.channel_message_counts
    return {
        "messages": statistics.message_count,
        "chunks": statistics.chunk_count,
        "channels": {c.topic: [c.message_encoding, counts.get(c.id, 0)] for c in summary.channels.values()},
    }


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
