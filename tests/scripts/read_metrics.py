"""Reads an exposition in the Prometheus text format from standard input with the parser of PyPI `prometheus_client`, and
prints its samples as JSON: {"name{label=value}": number}. Fails on what the parser refuses and on names that are not as
prometheus.io/docs/practices/naming has them."""

import json
import re
import sys

from prometheus_client.parser import text_string_to_metric_families

samples = {}
for family in text_string_to_metric_families(sys.stdin.read()):
    assert re.fullmatch(r"peakorder_[a-z]+(_[a-z]+)*", family.name), family.name
    assert family.documentation.endswith("."), f"{family.name}: no help text"
    assert family.type in ("counter", "gauge"), f"{family.name}: {family.type}"
    # Base units: seconds and bytes, ratios in place of percent.
    assert not re.search(r"_(ms|milliseconds|percent|megabytes|mb|kb|minutes)(_|$)", family.name), family.name
    for sample in family.samples:
        assert sample.name.endswith("_total") == (family.type == "counter"), sample.name
        assert set(sample.labels) <= {"role", "version", "commit"}, sample.labels
        labels = ",".join(f"{k}={v}" for k, v in sorted(sample.labels.items()))
        key = f"{sample.name}{{{labels}}}" if labels else sample.name
        assert key not in samples, f"{key} twice"
        samples[key] = sample.value
json.dump(samples, sys.stdout)
