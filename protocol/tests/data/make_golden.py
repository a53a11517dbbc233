"""Writes log-v1.bin, log-v2.bin and curves-v1.bin from the byte tables in docs/formats/,
with nothing of the program's own code: python3 make_golden.py"""
import struct


def crc32c(data):
    # Bit by bit with the reflected Castagnoli polynomial (RFC 3720, section 12.1).
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


assert crc32c(bytes(32)) == 0x8A9136AA  # RFC 3720, appendix B.4

PELVIS, THORAX, LEAD_ARM = range(3)


def sized(data):
    return struct.pack("<Q", len(data)) + data


def arrival(t_ns, role, channel, data):
    return struct.pack("<IQBB", 0, t_ns, role, channel) + sized(data)


def mark(t_ns, kind, text):
    return struct.pack("<IQB", 1, t_ns, kind) + sized(text.encode())


def strap_v1(t_ns, role, kind, text):
    return struct.pack("<IQBB", 2, t_ns, role, kind) + sized(text.encode())


def strap_v2(t_ns, role, variant, *fields):
    return struct.pack("<IQBI", 2, t_ns, role, variant) + b"".join(fields)


def text(of):
    return sized(of.encode())


def number(of):
    return struct.pack("<d", of)


def frame(version, sequence, records):
    payload = struct.pack("<Q", len(records)) + b"".join(records)
    head = b"\xf7\x50\x4b\xd9" + struct.pack("<B3xIQ", version, len(payload), sequence)
    return head + struct.pack("<I", crc32c(head + payload)) + payload


def write(version, batches):
    head = b"PEAKOLOG" + struct.pack("<HH", version, 0)
    with open(f"log-v{version}.bin", "wb") as out:
        out.write(head + struct.pack("<I", crc32c(head)))
        for sequence, records in enumerate(batches):
            out.write(frame(version, sequence, records))


others = [
    [
        arrival(12_000_000, PELVIS, 0, bytes(range(20))),
        arrival(12_500_000, LEAD_ARM, 1, b""),
        mark(13_000_000_000, 6, "Grundübung"),
    ],
    [mark(2**63, kind, "seated" if kind >= 8 else "") for kind in range(10)],
]
write(1, [
    [strap_v1(0, r, 0, "") for r in (PELVIS, THORAX, LEAD_ARM)] + [strap_v1(1, THORAX, 3, "87")],
    *others,
    [strap_v1(2**64 - 1, PELVIS, kind, "15.0") for kind in range(6)],
])
write(2, [
    [strap_v2(0, r, 0, text("firmware 1.2.3"), struct.pack("<H", mtu)) for r, mtu in ((PELVIS, 0), (THORAX, 247))]
    + [strap_v2(1, THORAX, 4, b"\x57")],
    *others,
    [strap_v2(2**64 - 1, LEAD_ARM, 1, bytes([reason])) for reason in range(6)]
    + [
        strap_v2(5, PELVIS, 2, text("0x08")),
        strap_v2(5, PELVIS, 3),
        strap_v2(5, PELVIS, 5, struct.pack("<Q", 11_250_000)),
        strap_v2(5, PELVIS, 6, number(9.8), number(0.01)),
        strap_v2(5, PELVIS, 7, number(2.4), number(0.01), text("own"), number(9.0), number(10.5)),
        strap_v2(5, PELVIS, 8, number(9.8), number(0.5), text("own"), number(0.125)),
        strap_v2(5, PELVIS, 9, text("no such service")),
        strap_v2(5, PELVIS, 10, text("busy")),
        strap_v2(5, PELVIS, 11),
        strap_v2(5, PELVIS, 12, text("Übung")),
    ],
])


def floats(values):
    return struct.pack(f"<Q{len(values)}f", len(values), *values)


def segment(role, speed, turn, orientation):
    four = [number for quaternion in orientation for number in quaternion]
    return struct.pack("<B", role) + floats(speed) + floats(turn) + struct.pack(
        f"<Q{len(four)}f", len(orientation), *four
    )


def curves(start_s, step_s, segments):
    body = struct.pack("<ddQ", start_s, step_s, len(segments)) + b"".join(segments)
    with open("curves-v1.bin", "wb") as out:
        out.write(b"POCURVES" + struct.pack("<HII", 1, len(body), crc32c(body)) + body)


curves(12.5, 0.005, [
    segment(PELVIS, [0.25, -1.5, 272.01], [0, -47.969, 11.023], [(1, 0, 0, 0), (0.5, -0.5, 0.5, -0.5), (0, 0, 1, 0)]),
    segment(THORAX, [], [], []),
    # Not calibrated: speed alone.
    segment(LEAD_ARM, [1e-45, 3.4028234663852886e38, -0.0], [], []),
])
