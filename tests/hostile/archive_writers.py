"""Archives written byte by byte from the descriptions of their formats, so that hostile ones can be made which no
program would: zip (PKWARE APPNOTE 6.3, sections 4.3 and 4.4), tar (POSIX.1-2001 ustar and pax), 7z (7zFormat.txt of the
7-Zip sources, stored without compression). All from memory of these documents."""

import gzip
import lzma
import struct
import subprocess
import zlib
from dataclasses import dataclass


@dataclass
class Entry:
    name: bytes
    data: bytes = b""
    kind: str = "file"  # file, folder, symlink, hardlink, device, fifo
    claimed: int | None = None  # size to write instead of the true one
    encrypted: bool = False
    local_name: bytes | None = None  # zip: another name in the header before the data


ZIP_MODES = {"file": 0o100644, "folder": 0o040755, "symlink": 0o120777, "hardlink": 0o100644, "device": 0o020644,
             "fifo": 0o010644}


def zip_bytes(entries):
    local, central = b"", b""
    for e in entries:
        size = len(e.data) if e.claimed is None else e.claimed
        flags = 0x800 | (1 if e.encrypted else 0)
        head = struct.pack("<HHIIIIHH", flags, 0, 0x58210000, zlib.crc32(e.data), len(e.data), size, len(e.name), 0)
        central += (b"PK\1\2" + struct.pack("<HH", 0x0314, 20) + head +
                    struct.pack("<HHHII", 0, 0, 0, ZIP_MODES[e.kind] << 16, len(local)) + e.name)
        inside = e.name if e.local_name is None else e.local_name
        local += b"PK\3\4" + struct.pack("<H", 20) + head[:-4] + struct.pack("<HH", len(inside), 0) + inside + e.data
    count = len(entries)
    return local + central + b"PK\5\6\0\0\0\0" + struct.pack("<HHIIH", count, count, len(central), len(local), 0)


TAR_TYPES = {"file": b"0", "hardlink": b"1", "symlink": b"2", "device": b"3", "folder": b"5", "fifo": b"6"}


def tar_header(name, size, kind, link=b""):
    def octal(value, width):
        return b"%0*o\0" % (width - 1, value)
    # Sizes beyond eleven octal digits in base 256, as GNU and pax readers take them.
    told = octal(size, 12) if size < 8**11 else b"\x80" + size.to_bytes(11, "big")
    head = (name[:100].ljust(100, b"\0") + octal(0o644, 8) + octal(0, 8) + octal(0, 8) + told + octal(1795608000, 12) +
            b" " * 8 + kind + link[:100].ljust(100, b"\0") + b"ustar\00000" + b"\0" * 64 + octal(0, 8) + octal(0, 8))
    head = head.ljust(512, b"\0")
    return head[:148] + b"%06o\0 " % sum(head) + head[156:]


def padded(data):
    return data + b"\0" * (-len(data) % 512)


def tar_bytes(entries, end=True):
    out = b""
    for e in entries:
        if len(e.name) > 100 or any(c > 0x7E for c in e.name):
            record, length = b" path=" + e.name + b"\n", 0
            while length != len(record) + len(str(length)):
                length = len(record) + len(str(length))
            pax = str(length).encode() + record
            out += tar_header(b"pax", len(pax), b"x") + padded(pax)
        link = e.data if e.kind in ("symlink", "hardlink") else b""
        data = e.data if e.kind == "file" else b""
        size = len(data) if e.claimed is None else e.claimed
        out += tar_header(e.name, size, TAR_TYPES[e.kind], link) + padded(data)
    return out + (b"\0" * 1024 if end else b"")


def number_7z(n):
    """7zFormat.txt, "UINT64": the first byte's leading ones count the bytes that follow."""
    for extra in range(8):
        if n < 1 << (7 * (extra + 1)):
            high = n >> (8 * extra)
            return bytes([(0xFF00 >> extra) & 0xFF | high]) + (n & ((1 << 8 * extra) - 1)).to_bytes(extra, "little")
    return b"\xff" + n.to_bytes(8, "little")


def sevenzip_bytes(entries):
    files = [e for e in entries if e.kind == "file"]
    packed = b"".join(e.data for e in files)
    n = number_7z
    streams = (b"\x04" b"\x06" + n(0) + n(1) + b"\x09" + n(len(packed)) + b"\0"
               b"\x07\x0b" + n(1) + b"\0" + n(1) + b"\x01\x00" b"\x0c" + n(len(packed)) + b"\0"
               b"\x08\x0d" + n(len(files)) + b"\x09" + b"".join(n(len(e.data)) for e in files[:-1]) +
               b"\x0a\x01" + b"".join(struct.pack("<I", zlib.crc32(e.data)) for e in files) + b"\0\0")
    names = b"\0" + b"".join(e.name.decode().encode("utf-16-le") + b"\0\0" for e in files)
    header = b"\x01" + streams + b"\x05" + n(len(files)) + b"\x11" + n(len(names)) + names + b"\0\0"
    start = struct.pack("<QQI", len(packed), len(header), zlib.crc32(header))
    return b"7z\xbc\xaf\x27\x1c\0\x04" + struct.pack("<I", zlib.crc32(start)) + start + packed + header


def zstd(data):
    return subprocess.run(["zstd", "-q", "-c"], input=data, capture_output=True, check=True).stdout


WRITERS = {
    "zip": zip_bytes,
    "tar": tar_bytes,
    "tar.gz": lambda entries: gzip.compress(tar_bytes(entries), 6, mtime=0),
    "tar.xz": lambda entries: lzma.compress(tar_bytes(entries)),
    "tar.zst": lambda entries: zstd(tar_bytes(entries)),
    "7z": sevenzip_bytes,
}
