"""Reads peakorder's files, written from docs/formats/ alone with nothing but the standard library.

    read_session.py session FOLDER     records, findings, curves and checksums of a session folder
    read_session.py log FILE...        records and findings of logs
    read_session.py curves FILE...     points of curves files
    read_session.py hip-shift FILE...  shift of the hips of swing files
    read_session.py json FILE...       whether the checksum of a JSON file is right
    read_session.py backswing FILE...  shares of the backswing of swing files, from their other keys
    read_session.py bone FILE...       uncertainties of the bone of swing files, from their other keys

Prints JSON, one object a line. A file that cannot be read gives a line with `error`.
"""
import json
import math
import os
import re
import struct
import sys

ROLES = ["pelvis", "thorax", "lead_arm"]
MARKS = [
    "still-start", "still-end", "bow-start", "bow-end", "arm-raise-start",
    "arm-raise-end", "block", "note", "turn-start", "turn-end", "shake-start", "shake-end",
    "re-wear",
    "drill",
]
REASONS = ["not-known", "session-ended", "link-lost", "sent-nothing", "fell-silent", "service-gone"]


class Refused(Exception):
    """The file cannot be read: newer, damaged, or something else."""


class Unknown(Exception):
    """Bytes that are not what the tables say."""


def crc_table():
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (0x82F63B78 if byte & 1 else 0)
        table.append(byte)
    return table


CRC_TABLE = crc_table()


def crc32c(data):
    register = 0xFFFFFFFF
    for byte in data:
        register = register >> 8 ^ CRC_TABLE[(register ^ byte) & 0xFF]
    return register ^ 0xFFFFFFFF


assert crc32c(b"123456789") == 0xE3069283
assert crc32c(bytes(32)) == 0x8A9136AA


class Cursor:
    """Takes values off bytes, one after another."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def take(self, count):
        if count > len(self.data) - self.at:
            raise Unknown("the bytes end early")
        part = self.data[self.at:self.at + count]
        self.at += count
        return part

    def number(self, code):
        return struct.unpack("<" + code, self.take(struct.calcsize("<" + code)))[0]

    def u8(self):
        return self.number("B")

    def u16(self):
        return self.number("H")

    def u32(self):
        return self.number("I")

    def u64(self):
        return self.number("Q")

    def f64(self):
        return self.number("d")

    def sized(self):
        return self.take(self.u64())

    def text(self):
        try:
            return self.sized().decode("utf-8")
        except UnicodeDecodeError:
            raise Unknown("not UTF-8") from None

    def one_of(self, names):
        number = self.u8()
        if number >= len(names):
            raise Unknown(f"number {number} is not in the table")
        return names[number]

    def floats(self, width=1):
        count = self.u64() * width
        data = self.take(4 * count)
        return list(struct.unpack(f"<{count}f", data))

    def at_end(self):
        return self.at == len(self.data)


# samples.log


def strap_event_1(cursor):
    kind, text = cursor.u8(), cursor.text()
    if kind == 0:
        return {"what": "connected", "information": text, "mtu": 0}
    if kind == 1 and text == "":
        return {"what": "disconnected", "reason": REASONS[0]}
    if kind == 1:
        return {"what": "disconnected-other", "why": text}
    if kind == 2:
        return {"what": "restarted"}
    if kind == 3:
        digits = text.strip()
        if re.fullmatch(r"[0-9]+", digits) and int(digits) <= 255:
            return {"what": "battery", "percent": int(digits)}
        return {"what": "note", "text": f"battery {text} %"}
    if kind == 4:
        try:
            milliseconds = float(text.removesuffix("ms").strip())
        except ValueError:
            milliseconds = math.nan
        if math.isfinite(milliseconds) and milliseconds >= 0:
            return {"what": "interval", "ns": math.floor(milliseconds * 1e6 + 0.5)}
        return {"what": "note", "text": f"connection interval {text} ms"}
    if kind == 5:
        return {"what": "note", "text": text}
    raise Unknown(f"strap event {kind}")


def strap_event_2(cursor):
    variant = cursor.u32()
    if variant == 0:
        return {"what": "connected", "information": cursor.text(), "mtu": cursor.u16()}
    if variant == 1:
        return {"what": "disconnected", "reason": cursor.one_of(REASONS)}
    if variant == 2:
        return {"what": "disconnected-other", "why": cursor.text()}
    if variant == 3:
        return {"what": "restarted"}
    if variant == 4:
        return {"what": "battery", "percent": cursor.u8()}
    if variant == 5:
        return {"what": "interval", "ns": cursor.u64()}
    if variant in (6, 7, 8):
        event = {"what": "at-rest", "acc_m_s2": cursor.f64(), "gyro_rad_s": cursor.f64()}
        if variant == 7:
            event |= {"what": "wrong-acceleration", "profile": cursor.text()}
            event |= {"min_m_s2": cursor.f64(), "max_m_s2": cursor.f64()}
        if variant == 8:
            event |= {"what": "wrong-rotation", "profile": cursor.text(), "max_rad_s": cursor.f64()}
        return event
    if variant == 9:
        return {"what": "refused", "why": cursor.text()}
    if variant == 10:
        return {"what": "not-connected-yet", "why": cursor.text()}
    if variant == 11:
        return {"what": "not-heard"}
    if variant == 12:
        return {"what": "note", "text": cursor.text()}
    raise Unknown(f"strap event {variant}")


def record(cursor, version):
    variant = cursor.u32()
    if variant not in (0, 1, 2):
        raise Unknown(f"record {variant}")
    out = {"record": ("arrival", "mark", "strap")[variant], "t_ns": cursor.u64()}
    if variant == 0:
        return out | {"role": cursor.one_of(ROLES), "channel": cursor.u8(), "bytes": cursor.sized().hex()}
    if variant == 1:
        return out | {"kind": cursor.one_of(MARKS), "text": cursor.text()}
    out["role"] = cursor.one_of(ROLES)
    return out | (strap_event_1 if version == 1 else strap_event_2)(cursor)


def payload(data, version):
    if version not in (1, 2):
        raise Unknown(f"version {version}")
    cursor = Cursor(data)
    records = []
    for _ in range(cursor.u64()):
        records.append(record(cursor, version))
    if not cursor.at_end():
        raise Unknown("something follows the records")
    return records


FRAME_MAGIC = bytes.fromhex("f7504bd9")


def read_log(data):
    """Records and findings of a log."""
    records, findings = [], []

    def find(offset, count, kind, **more):
        findings.append({"finding": kind, "offset": offset, "bytes": count, **more})

    def begins(at):
        here = data[at:at + 4]
        return here == FRAME_MAGIC[:len(here)]

    magic = b"PEAKOLOG"
    if len(data) < 16:
        if data[:8] != magic[:len(data)]:
            raise Refused("not a log")
        find(0, len(data), "torn end")
        return records, findings
    magic_right = data[:8] == magic
    crc_right = crc32c(magic + data[8:12]) == struct.unpack("<I", data[12:16])[0]
    if magic_right and crc_right:
        if struct.unpack("<H", data[8:10])[0] > 2:
            raise Refused("newer")
    elif magic_right or crc_right:
        find(0, 16, "damaged header")
    else:
        raise Refused("not a log")

    at, expected, skipping = 16, 0, None
    while True:
        left = len(data) - at
        kind = None
        if left == 0:
            break
        if left < 24:
            skipping = skipping or (at, "torn end" if begins(at) else "not a frame")
            at = len(data)
            break
        version, length, number, crc = struct.unpack("<4xB3xIQI", data[at:at + 24])
        if data[at:at + 4] != FRAME_MAGIC or length > 1048576:
            kind = "wrong checksum" if begins(at) else "not a frame"
        elif 24 + length > left:
            kind = "torn end"
        elif crc32c(data[at:at + 20] + data[at + 24:at + 24 + length]) != crc:
            kind = "wrong checksum"
        if kind:
            skipping = skipping or (at, kind)
            following = data.find(FRAME_MAGIC[:1], at + 1)
            at = len(data) if following < 0 else following
            continue
        if version > 2:
            raise Refused("newer")
        if skipping:
            start, kind = skipping
            find(start, at - start, "wrong checksum" if kind == "torn end" else kind)
            skipping = None
        frame, total = at, 24 + length
        at += total
        if number < expected:
            find(frame, total, "repeated", expected=expected, found=number)
            continue
        if number > expected:
            find(frame, 0, "gap", expected=expected, found=number)
        expected = number + 1
        try:
            records += payload(data[frame + 24:at], version)
        except Unknown:
            find(frame, total, "unknown records")
    if skipping:
        start, kind = skipping
        find(start, len(data) - start, kind)
    return records, findings


# swings/NNNN.curves


def read_curves(data):
    if data[:8] != b"POCURVES":
        raise Refused("not curves")
    if len(data) < 18:
        raise Refused("length")
    version, length, crc = struct.unpack("<HII", data[8:18])
    body = data[18:]
    if version != 1:
        raise Refused("version")
    if len(body) != length or length > 16777216:
        raise Refused("length")
    if crc32c(body) != crc:
        raise Refused("checksum")
    cursor = Cursor(body)
    out = {"start_s": cursor.f64(), "step_s": cursor.f64(), "segments": []}
    for _ in range(cursor.u64()):
        segment = {"role": cursor.one_of(ROLES), "speed_dps": cursor.floats(), "turn_deg": cursor.floats()}
        four = cursor.floats(4)
        segment["orientation_wxyz"] = [four[i:i + 4] for i in range(0, len(four), 4)]
        points = len(segment["speed_dps"])
        if any(len(segment[key]) not in (0, points) for key in ("turn_deg", "orientation_wxyz")):
            raise Refused("uneven")
        out["segments"].append(segment)
    if not cursor.at_end():
        raise Refused("length")
    return out


# JSON files


def check_json(data):
    """`right`, `none` or `wrong`."""
    if b'"crc32c":' not in data:
        return "none"
    ending = re.fullmatch(rb',\n  "crc32c": "([0-9a-f]{8})"\n\}\n', data[-27:])
    return "right" if ending and int(ending[1], 16) == crc32c(data[:-27]) else "wrong"


# swings/NNNN.json


def own_sd(at):
    """What of a shift's uncertainty is the swing's own."""
    return math.sqrt(max(0.0, at["sd_cm"] ** 2 - sum(part**2 for part in at["shared_sd_cm"])))


def read_hip_shift(data):
    shift = json.loads(data).get("hip_shift")
    if shift is None:
        return {"hip_shift": None}
    out = {"breadth_cm": shift["hip_breadth_cm"], "measured": shift["hip_breadth_measured"]}
    for key in ("top", "impact_for_block_means"):
        for hip, at in shift.get(key, {}).items():
            out[f"{key} {hip}"] = [at["towards_target_cm"], at["sd_cm"], round(own_sd(at), 3)]
    return {"hip_shift": out}


def shares(swing):
    """Turn's and hips' share of the backswing, as session.md defines them."""
    if "arm_moved_deg" not in swing.get("backswing", {}):
        return {}
    away = {role: -segment["turn_deg"]["top"] for role, segment in swing["segments"].items() if "turn_deg" in segment}
    whole = away["thorax"] + swing["backswing"]["arm_moved_deg"]
    out = {"turn_share": away["thorax"] / whole}
    if "pelvis" in away:
        out["hips_share"] = away["pelvis"] / whole
    return out


# How a strap follows the bone: share, its spread, and what is left besides, in degrees.
FOLLOWS = {
    "pelvis": {"turn_deg": (0.97, 0.05, 1), "lateral_tilt_deg": (0.88, 0.08, 1.5), "flexion_deg": (0.88, 0.08, 1.5)},
    "thorax": {"turn_deg": (0.95, 0.07, 2), "lateral_tilt_deg": (0.95, 0.07, 2), "flexion_deg": (0.95, 0.07, 2)},
    "lead_arm": {"turn_deg": (0.70, 0.10, 3), "lateral_tilt_deg": (1, 0, 3), "flexion_deg": (1, 0, 3)},
}


def bones(swing):
    """Path of each of the bone's uncertainties -> what session.md makes it of the strap's."""
    out = {}
    for role, segment in swing["segments"].items():
        for key, (share, spread, besides) in FOLLOWS[role].items():
            angle = segment.get(key, {})
            for sd, value in (("sd", "top"), ("impact_sd", "impact"), ("max_away_sd", "max_away"), ("address_sd", "address")):
                if sd in angle:
                    change = angle[value]
                    if key == "turn_deg" and value == "top":
                        change = max(abs(change), abs(angle["max_away"]))
                    skin = math.hypot(math.hypot(1 - share, spread) * change, besides)
                    out[f"segments {role} {key} {sd.replace('sd', 'bone_sd')}"] = math.hypot(angle[sd], skin)
        share = 0.05 if role == "lead_arm" else math.hypot(1 - FOLLOWS[role]["turn_deg"][0], 0.05)
        for key in ("peak", "resultant_peak"):
            peak = segment.get(key, {})
            if "speed_sd_dps" in peak:
                path = f"segments {role} {key} speed_bone_sd_dps"
                out[path] = math.hypot(peak["speed_sd_dps"], share * peak["speed_dps"])
            if "sd_ms" in peak:
                out[f"segments {role} {key} bone_sd_ms"] = math.hypot(peak["sd_ms"], 5)
        if "speed_kept_sd" in segment:
            out[f"segments {role} speed_kept_bone_sd"] = math.hypot(segment["speed_kept_sd"], share / 2)
    for key in ("takeaway", "top"):
        out[f"events {key} bone_sd_ms"] = math.hypot(swing["events"][key]["sd_ms"], 5)
    for i, gap in enumerate(swing["sequence"]["gaps"]):
        out[f"sequence gaps {i} bone_sd_ms"] = math.hypot(gap["sd_ms"], 5, 5)
    return out


def say(thing):
    print(json.dumps(thing, ensure_ascii=False, allow_nan=False))


def print_file(kind, path):
    with open(path, "rb") as file:
        data = file.read()
    say({"file": os.path.basename(path)})
    try:
        if kind == "log":
            for part in read_log(data):
                for thing in part:
                    say(thing)
        elif kind == "curves":
            say(read_curves(data))
        elif kind == "hip-shift":
            say(read_hip_shift(data))
        elif kind == "backswing":
            say(shares(json.loads(data)))
        elif kind == "bone":
            say(bones(json.loads(data)))
        else:
            say({"checksum": check_json(data)})
    except (Refused, Unknown) as error:
        say({"error": str(error)})


def main(kind, *paths):
    if kind != "session":
        for path in paths:
            print_file(kind, path)
        return
    (folder,) = paths
    print_file("log", os.path.join(folder, "samples.log"))
    swings = os.path.join(folder, "swings")
    for name in sorted(os.listdir(swings)):
        if name.endswith((".curves", ".json")):
            print_file(name.rpartition(".")[2], os.path.join(swings, name))


if __name__ == "__main__":
    if len(sys.argv) < 3 or sys.argv[1] not in ("session", "log", "curves", "json", "hip-shift", "backswing", "bone"):
        sys.exit(__doc__)
    main(*sys.argv[1:])
