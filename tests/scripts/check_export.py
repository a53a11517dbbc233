"""Opens what `peakorder export --into` wrote with the formats' own readers and holds it against the session's files.

Arguments: session folder; exports as CSV, Parquet, MCAP and CSV with names; folder of the samples as the motion crate
hands them out (raw numbers); then words that were typed, which must not be found where names are hidden.
Knows docs/formats/ and nothing else of the project. Needs pandas, pyarrow, mcap, scipy.
"""

import json
import sys
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
from mcap.reader import make_reader
from scipy.spatial.transform import Rotation, Slerp

SESSION, CSV, PARQUET, MCAP, NAMES, EXPECTED = map(Path, sys.argv[1:7])
TYPED = sys.argv[7:]
ROLES = ["pelvis", "thorax", "lead_arm"]
GYRO = ["gyro_x_dps", "gyro_y_dps", "gyro_z_dps"]
ACCEL = ["accel_x_m_s2", "accel_y_m_s2", "accel_z_m_s2"]
# Samples are rounded to a millionth of their unit, times to a nanosecond.
ROUNDED, ROUNDED_S = 0.5e-6 + 1e-9, 0.5e-9 + 1e-12

toml = tomllib.loads((SESSION / "session.toml").read_text())
SIGN = 1.0 if toml["player"]["handedness"] == "right" else -1.0


def near(got, want, within, what):
    got, want = np.asarray(got, float), np.asarray(want, float)
    assert got.shape == want.shape, f"{what}: {got.shape} values, {want.shape} expected"
    worst = np.max(np.abs(got - want), initial=0.0)
    assert worst <= within, f"{what}: off by {worst}"
    return worst


# The data dictionary: every file, every column of each, in order, with type and unit.

TYPES = {"number": "double", "integer": ("int32", "int64"), "boolean": "bool", "string": ("string", "large_string"),
         "datetime": "timestamp[us, tz=UTC]", "date": "date32[day]"}


def described(folder, ending):
    package = json.loads((folder / "datapackage.json").read_text())
    assert package["$schema"].startswith("https://datapackage.org/profiles/2")
    files = {p.name for p in folder.iterdir()} - {"datapackage.json"}
    assert files == {r["path"] for r in package["resources"]}, files
    tables = {}
    for resource in package["resources"]:
        fields = resource["schema"]["fields"]
        assert len({f["name"] for f in fields}) == len(fields), resource["path"]
        assert all(len(f["description"]) > 5 for f in fields), fields
        assert resource["path"].endswith(ending) and resource["description"]
        tables[resource["path"].split(".")[0]] = fields
    return tables


def check_types(frame, fields, what):
    """A CSV column reads as what the dictionary says."""
    assert list(frame.columns) == [f["name"] for f in fields], what
    for field in fields:
        column = frame[field["name"]]
        if field.get("constraints", {}).get("required"):
            assert column.notna().all(), f"{what}.{field['name']} has empty cells"
        filled = column.dropna()
        if filled.empty:
            continue
        kind = field["type"]
        if kind == "number":
            ok = pd.api.types.is_numeric_dtype(filled) and not pd.api.types.is_bool_dtype(filled)
        elif kind == "integer":
            ok = pd.api.types.is_numeric_dtype(filled) and (filled % 1 == 0).all()
        elif kind == "boolean":
            ok = filled.isin([True, False]).all()
        elif kind in ("datetime", "date"):
            ok = pd.to_datetime(filled, errors="coerce", utc=True).notna().all()
        else:
            ok = filled.map(lambda v: isinstance(v, str)).all()
        assert ok, f"{what}.{field['name']} is no {kind}"


def texts_of(frame):
    return {str(v) for c in frame.columns for v in frame[c].dropna().unique() if isinstance(v, str)}


csv_fields, parquet_fields = described(CSV, ".csv"), described(PARQUET, ".parquet")
assert csv_fields == parquet_fields
tables, seen = {}, set()
# Nothing is guessed of texts: only an empty cell is none.
read = {"keep_default_na": False, "na_values": [""]}
for name, fields in csv_fields.items():
    texts = {f["name"]: str for f in fields if f["type"] == "string"}
    frame = pd.read_csv(CSV / f"{name}.csv", dtype=texts, **read)
    check_types(frame, fields, name)
    file = pq.ParquetFile(PARQUET / f"{name}.parquet")
    table = file.read()
    assert table.column_names == [f["name"] for f in fields], name
    for field in fields:
        kind = str(table.schema.field(field["name"]).type)
        wanted = TYPES[field["type"]]
        assert kind in (wanted if isinstance(wanted, tuple) else (wanted,)), f"{name}.{field['name']}: {kind}"
    footer = {k.decode(): v.decode() for k, v in file.metadata.metadata.items()}
    units = {f["name"]: f["unit"] for f in fields if "unit" in f}
    assert json.loads(footer["peakorder.units"]) == units, name
    # A name with a unit ends in it.
    for column, unit in units.items():
        plain = {"deg/s": "dps", "m/s^2": "m_s2", "%": "percent"}.get(unit, unit)
        assert column.endswith("_" + plain), f"{name}.{column} is in {unit}"
    # Both formats hold the same values: numbers bit for bit.
    other = table.to_pandas()
    assert len(other) == len(frame), name
    for field in fields:
        a, b = frame[field["name"]], other[field["name"]]
        assert (a.isna().to_numpy() == b.isna().to_numpy()).all(), f"{name}.{field['name']}: nulls differ"
        a, b = a.dropna(), b.dropna()
        if field["type"] in ("number", "integer"):
            assert (a.to_numpy(float) == b.to_numpy(float)).all(), f"{name}.{field['name']}"
        elif field["type"] in ("datetime", "date"):
            assert (pd.to_datetime(a, utc=True).to_numpy() == pd.to_datetime(b, utc=True).to_numpy()).all()
        else:
            assert list(a) == list(b), f"{name}.{field['name']}"
    tables[name] = frame
    seen |= texts_of(frame)
assert set(tables) >= {"swings", "blocks", "repetitions", "curves", "curves_normalised", "samples_segment", "samples_strap",
                       "orientations", "gaps", "marks", "remarks", "calibration", "mountings", "sessions", "measures"}

# The swings' numbers are the files'.

files = [json.loads(p.read_text()) for p in sorted((SESSION / "swings").glob("*.json"))]
swings = {f["number"]: f for f in files if f["kind"] != "repetition"}
repetitions = {f["number"]: f for f in files if f["kind"] == "repetition"}
assert list(tables["swings"]["swing"]) == sorted(swings) and len(swings) == 4
assert list(tables["repetitions"]["repetition"]) == sorted(repetitions) and len(repetitions) == 3
checked = 0
for _, row in tables["swings"].iterrows():
    swing = swings[row["swing"]]
    assert row["impact_s"] == swing["events"]["impact"]["t_s"]
    assert row["lost_samples"] == swing["quality"]["lost_samples"]
    for role in ROLES:
        segment = swing["segments"].get(role, {})
        peak = segment.get("peak")
        if peak and peak["outcome"] == "peak":
            assert row[f"{role}_peak_before_impact_ms"] == peak["before_impact_ms"]
            assert row[f"{role}_peak_speed_dps"] == peak["speed_dps"]
            assert row[f"{role}_peak_speed_sd_dps"] == peak["speed_sd_dps"]
            assert isinstance(row[f"{role}_peak_speed_def"], str)
            checked += 3
        turn = segment.get("turn_deg")
        if turn and role != "lead_arm":
            assert row[f"{role}_turn_top_deg"] == turn["top"], (row[f"{role}_turn_top_deg"], turn)
            checked += 1
    for gap in swing["sequence"]["gaps"]:
        if not gap.get("held"):
            assert row[f"gap_{gap['from']}_{gap['to']}_ms"] == gap["gap_ms"]
            checked += 1
    withheld = [w["what"] for w in swing["quality"]["withheld"]]
    assert row["withheld_n"] == len(withheld)
    if withheld:
        assert row["withheld"] == "; ".join(withheld)
        assert all(f"{key}: " in row["withheld_why"] for key in withheld)
assert checked > 30, checked
for _, row in tables["repetitions"].iterrows():
    turn = repetitions[row["repetition"]]["segments"]["thorax"]["turn_deg"]
    assert row["thorax_back_deg"] == -turn["top"]

# The measures' table names the columns of swings.
for _, row in tables["measures"].dropna(subset="value_column").iterrows():
    for column in ("value_column", "sd_column", "bone_sd_column", "definition_column"):
        assert row[column] in tables["swings"].columns

# Samples are those of the motion crate.

strap, segment = tables["samples_strap"], tables["samples_segment"]
worst_t = 0.0
for role in ROLES:
    for table, name in ((strap, "strap"), (segment, "segment")):
        want = np.fromfile(EXPECTED / f"{role}.{name}.f64").reshape(-1, 10)
        got = table[table["segment"] == role]
        worst_t = max(worst_t, near(got["t_s"], want[:, 0], ROUNDED_S, f"{role} {name} times"))
        near(got[GYRO], want[:, 1:4], ROUNDED, f"{role} {name} rates")
        near(got[ACCEL], want[:, 4:7], ROUNDED, f"{role} {name} forces")
        near(got["lost_before"], want[:, 7], 0, f"{role} {name} lost")
        near(got["clipped"].astype(float), want[:, 8], 0, f"{role} {name} clipped")
        assert (np.diff(got["t_s"]) > 0).all()
        assert ((got["clock_sd_ms"] > 0) & (got["clock_sd_ms"] < 5)).all()

# Gaps are where the samples say.
for role in ROLES:
    got = strap[strap["segment"] == role].reset_index(drop=True)
    holes = got.index[got["lost_before"] > 0]
    gaps = tables["gaps"][tables["gaps"]["segment"] == role]
    assert len(gaps) == len(holes), role
    near(gaps["from_s"], got["t_s"][holes - 1], 0, "gaps begin")
    near(gaps["to_s"], got["t_s"][holes], 0, "gaps end")
    near(gaps["lost"], got["lost_before"][holes], 0, "gaps' samples")
assert tables["gaps"]["lost"].max() > 200, "the strap that was lost for 1.2 s"

# Strap, mounting, bias and segment belong together: v_segment = q v_strap q*.


def rotation(rows):
    return Rotation.from_quat(rows[["q_x", "q_y", "q_z", "q_w"]].to_numpy())


for role in ROLES:
    seats = tables["mountings"][tables["mountings"]["segment"] == role]
    assert len(seats) >= 1
    in_segment = segment[segment["segment"] == role]
    worn = strap[(strap["segment"] == role) & strap["t_s"].isin(in_segment["t_s"])]
    at = np.searchsorted(seats["t_s"], in_segment["t_s"], side="right") - 1
    turn = rotation(seats.iloc[at])
    near(turn.apply(worn[ACCEL]), in_segment[ACCEL], 3e-6, f"{role} force by its mounting")
    bias = in_segment[["bias_x_dps", "bias_y_dps", "bias_z_dps"]].to_numpy()
    near(turn.apply(worn[GYRO]) - bias, in_segment[GYRO], 2e-5, f"{role} rate by its mounting")

# Standing still, the specific force is gravity along the long axis, within what the calibration is uncertain by.
marks = tables["marks"]
still = [marks[marks["mark"] == m]["t_s"].iloc[0] for m in ("still-start", "still-end")]
upright = []
for role in ("pelvis", "thorax"):
    seat = tables["mountings"][tables["mountings"]["segment"] == role].iloc[:1]
    standing = strap[(strap["segment"] == role) & strap["t_s"].between(*still)]
    force = rotation(seat).apply(standing[ACCEL].mean().to_numpy()[None, :])[0]
    size, off = np.linalg.norm(force), np.degrees(np.arccos(force[1] / np.linalg.norm(force)))
    # The virtual sensors' scale and offset are off by up to some 3 %.
    assert abs(size - 9.81) < 0.3, f"{role}: {size} m/s²"
    assert off < 1.96 * seat["sd_deg"].iloc[0], f"{role}: {off} deg off the long axis"
    upright.append(f"{role} {size:.3f} m/s², {off:.2f} deg off")

# After it, at rest, the orientation turns the force into the global vertical.
orientations = tables["orientations"]
assert (abs(np.linalg.norm(orientations[["q_w", "q_x", "q_y", "q_z"]], axis=1) - 1.0) < 1e-8).all()
for role in ROLES:
    one = orientations[(orientations["segment"] == role) & (orientations["frame"] == "segment")]
    both = one.merge(segment[segment["segment"] == role], on="t_s")
    assert len(both) == len(one) > 500
    steps = np.diff(one["t_s"])
    assert abs(np.median(steps) - 0.02) < 0.003
    quiet = both[np.linalg.norm(both[GYRO], axis=1) < 4.0]
    assert len(quiet) > 100
    up = rotation(quiet).apply(quiet[ACCEL]).mean(axis=0)
    off = np.degrees(np.arccos(up[1] / np.linalg.norm(up)))
    seat = tables["mountings"][tables["mountings"]["segment"] == role].iloc[0]
    assert off < 1.96 * seat["sd_deg"] and abs(np.linalg.norm(up) - 9.81) < 0.3, f"{role}: {up}, {off} deg"
    upright.append(f"{role} at rest {np.linalg.norm(up):.3f} m/s², {off:.2f} deg off")

# Integrating the exported rates from takeaway to top gives the file's turn.


def axial(turn):
    """Angle about the vertical of R = Ry(axial) Rx(lateral) Rz(flexion), deg, positive towards the target."""
    m = turn.as_matrix()
    return SIGN * np.degrees(np.arctan2(m[..., 0, 2], m[..., 2, 2]))


curves = tables["curves"]
turns = []
for number, swing in swings.items():
    takeaway, top = swing["events"]["takeaway"]["t_s"], swing["events"]["top"]["t_s"]
    for role in ("pelvis", "thorax"):
        turn = swing["segments"].get(role, {}).get("turn_deg")
        if turn is None:
            continue
        curve = curves[(curves["swing"] == number) & (curves["segment"] == role)].dropna(subset="q_w")
        start = Slerp(curve["t_s"], rotation(curve))(takeaway)
        at_takeaway = np.interp(takeaway, curve["t_s"], curve["turn_deg"])
        rows = segment[(segment["segment"] == role) & segment["t_s"].between(takeaway - 0.02, top + 0.02)]
        times = np.linspace(takeaway, top, 2001)
        middle = (times[1:] + times[:-1]) / 2
        rates = np.stack([np.interp(middle, rows["t_s"], rows[c]) for c in GYRO], axis=1)
        now = start
        for step in Rotation.from_rotvec(np.radians(rates) * np.diff(times)[:, None]):
            now = now * step
        turned = axial(now) - axial(start) + at_takeaway
        turns.append((turned + 180) % 360 - 180 - turn["top"])
turns = np.array(turns)
assert len(turns) >= 6 and np.abs(turns).max() < 0.5, turns

# Curves: the phase is linear between the events, and the normalised curves lie on the others.
for number, swing in swings.items():
    e = [swing["events"][k]["t_s"] for k in ("takeaway", "top", "impact", "finish")]
    for role in ROLES:
        own = curves[(curves["swing"] == number) & (curves["segment"] == role)]
        even = tables["curves_normalised"]
        even = even[(even["swing"] == number) & (even["segment"] == role)]
        if own.empty:
            continue
        inside = own.dropna(subset="phase_percent")
        near(inside["phase_percent"], np.interp(inside["t_s"], e, [0, 100, 200, 300]), 1e-6, "phase")
        assert list(even["phase_percent"]) == list(range(301))
        there = even[even["t_s"] <= own["t_s"].max()]
        near(there["speed_dps"], np.interp(there["t_s"], own["t_s"], own["speed_dps"]), 1e-3, "speed")
        near(there["turn_deg"].dropna(), np.interp(there["t_s"], own["t_s"], own["turn_deg"])[: there["turn_deg"].count()],
             1e-3, "turn")

# MCAP: the same samples, message by message.
(mcap,) = MCAP.iterdir()
count = 0
with mcap.open("rb") as stream:
    reader = make_reader(stream, validate_crcs=True)
    started = pd.Timestamp(toml["started_utc"]).value
    messages = {}
    for schema, channel, message in reader.iter_messages():
        document = json.loads(schema.data)
        body = json.loads(message.data)
        assert schema.encoding == "jsonschema" and channel.message_encoding == "json"
        assert set(body) == set(document["properties"]) >= set(document["required"])
        messages.setdefault(channel.topic, []).append((message, body))
        seen |= {v for v in body.values() if isinstance(v, str)}
    for metadata in reader.iter_metadata():
        seen |= set(metadata.metadata.values())
        assert metadata.metadata["handedness"] == toml["player"]["handedness"]
assert {p["unit"] for p in document["properties"].values() if "unit" in p}, "units are in the schema"
for role in ROLES:
    got = sorted(messages[f"/{role}/samples"], key=lambda m: m[0].publish_time)
    table = strap[strap["segment"] == role]
    count += len(got)
    want = np.fromfile(EXPECTED / f"{role}.strap.f64").reshape(-1, 10)
    near([m.publish_time - started for m, _ in got], np.round(want[:, 0] * 1e9), 1.0, "sensor time, ns")
    near([m.log_time - started for m, _ in got], np.round(want[:, 9] * 1e9), 1.0, "arrival, ns")
    for column in ["t_s", *GYRO, *ACCEL, "clock_sd_ms", "lost_before", "wearing"]:
        near([b[column] for _, b in got], table[column], 0, f"mcap {role} {column}")
    sequence = np.array([m.sequence for m, _ in got])
    near(np.diff(sequence) - 1, table["lost_before"].iloc[1:], 0, "missing samples leave their numbers out")
assert [b["mark"] for _, b in messages["/marks"]] == list(marks["mark"])

# Names and what was typed are nowhere, but where they were asked for.
for word in TYPED:
    assert not any(word in text for text in seen), word
    assert word.encode() not in mcap.read_bytes()
assert toml["id"] not in seen
named = set()
for path in NAMES.glob("*.csv"):
    named |= texts_of(pd.read_csv(path, dtype=str, **read))
for word in TYPED[:1] + TYPED[2:]:
    assert any(word in text for text in named), f"{word} was asked for"

print(f"{len(tables)} tables, {len(strap)} samples, {count} messages, {checked} numbers of swings; times to {worst_t:.1e} s; "
      f"{len(turns)} turns by integration within {np.abs(turns).max():.3f} deg; {'; '.join(upright)}")
