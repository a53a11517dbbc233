#!/usr/bin/env python3
"""Cuts three sensors of qmt_trunk_100hz.csv (open data, see tests/tests/real_motion.rs) into
sample files for `peakorderd import`. Usage: cut_motion.py qmt_trunk_100hz.csv OUTDIR"""
import csv
import pathlib
import sys

HEADER = ["time_s"] + [f"{q}_{a}_{u}" for q, u in (("gyro", "rad_s"), ("accel", "m_s2")) for a in "xyz"]
PLACES = {"pelvis": "hip", "thorax": "upper_back", "lead_arm": "upper_arm_left"}

source, out = sys.argv[1], pathlib.Path(sys.argv[2])
out.mkdir(parents=True, exist_ok=True)
with open(source, newline="") as file:
    rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
for role, place in PLACES.items():
    with open(out / f"{role}.csv", "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(HEADER)
        for row in rows:
            writer.writerow([row["t"]] + [row[f"{place}_{q}{a}"] for q in "ga" for a in "xyz"])
