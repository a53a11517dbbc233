"""Writes log-v1.bin from the byte tables in src/log/frame.rs and src/log/wire.rs, with
nothing of the program's own code: python3 make_log_v1.py > log-v1.bin"""
import struct
import sys


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


def strap(t_ns, role, kind, text):
    return struct.pack("<IQBB", 2, t_ns, role, kind) + sized(text.encode())


def frame(sequence, records):
    payload = struct.pack("<Q", len(records)) + b"".join(records)
    head = b"\xf7\x50\x4b\xd9" + struct.pack("<B3xIQ", 1, len(payload), sequence)
    return head + struct.pack("<I", crc32c(head + payload)) + payload


head = b"PEAKOLOG" + struct.pack("<HH", 1, 0)
out = head + struct.pack("<I", crc32c(head))
out += frame(0, [strap(0, r, 0, "") for r in (PELVIS, THORAX, LEAD_ARM)] + [strap(1, THORAX, 3, "87")])
out += frame(1, [
    arrival(12_000_000, PELVIS, 0, bytes(range(20))),
    arrival(12_500_000, LEAD_ARM, 1, b""),
    mark(13_000_000_000, 6, "Grundübung"),
])
out += frame(2, [mark(2**63, kind, "seated" if kind >= 8 else "") for kind in range(10)])
out += frame(3, [strap(2**64 - 1, PELVIS, kind, "15.0") for kind in range(6)])
sys.stdout.buffer.write(out)
