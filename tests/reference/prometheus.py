"""A page of numbers as Prometheus' Python client reads it.

    prometheus.py PAGE

Prints JSON: `[name, labels, value]` of each sample. A family without a type or a help text is an error.
"""

import json
import sys

from prometheus_client.parser import text_string_to_metric_families


def main():
    families = list(text_string_to_metric_families(sys.argv[1]))
    for family in families:
        assert family.type in ("counter", "gauge") and family.documentation, family.name
        assert all(sample.name.endswith("_total") for sample in family.samples) == (family.type == "counter"), family.name
    print(json.dumps([[sample.name, sample.labels, sample.value] for family in families for sample in family.samples]))


if __name__ == "__main__":
    main()
