"""Spoils one part of a FAT32 card that mkfs.fat and mcopy made, in place: fat_spoil.py WHAT IMAGE, the partition at sector
2048. Knows FAT32 by Microsoft's specification 1.03 and shares no code with Fettle."""

import struct
import sys

what, image = sys.argv[1:]
start = 2048 * 512
f = open(image, "r+b")
f.seek(start)
boot = f.read(512)
per_cluster, reserved, fat_size = boot[13], *struct.unpack_from("<H", boot, 14), *struct.unpack_from("<I", boot, 36)
fats = [start + reserved * 512, start + (reserved + fat_size) * 512]
data = start + (reserved + 2 * fat_size) * 512
END, FREE_PLACE = 0x0FFFFFFF, 90000


def cluster_at(cluster):
    return data + (cluster - 2) * per_cluster * 512


def get(cluster):
    f.seek(fats[0] + 4 * cluster)
    return struct.unpack("<I", f.read(4))[0]


def fat(cluster, value, copies=fats):
    for at in copies:
        f.seek(at + 4 * cluster)
        f.write(struct.pack("<I", value))


def write(at, content):
    f.seek(at)
    f.write(content)


def entries(cluster):
    """Place, short name, first cluster and size of the short entries of a folder's first cluster."""
    f.seek(cluster_at(cluster))
    folder = f.read(per_cluster * 512)
    for i in range(0, len(folder), 32):
        if folder[i] == 0:
            return
        if folder[i] != 0xE5 and folder[i + 11] & 15 != 15:
            first, size = struct.unpack_from("<HI", folder, i + 26)
            yield cluster_at(cluster) + i, folder[i : i + 11], first, size


def boots(at, content):
    for sector in (0, 6):  # the boot sector and its backup
        write(start + sector * 512 + at, content)


def slot(number):
    f.seek(446)
    entry = f.read(16)
    write(446, bytes(64))
    write(446 + 16 * (number - 1), entry)


def second_label():
    at = cluster_at(2)
    f.seek(at)
    folder = f.read(per_cluster * 512)
    free = next(i for i in range(0, len(folder), 32) if folder[i] == 0)
    for i, name in enumerate((b"OTHER      ", b"THIRD      ")):  # mkfs.fat may have written one, or none
        write(at + free + 32 * i, name + b"\x08" + bytes(20))


pieces = next(first for _, name, first, _ in entries(2) if name.startswith(b"PIECES"))
files = [e for e in entries(pieces) if not e[1].startswith(b".")]
large, small = max(files, key=lambda e: e[3]), min(files, key=lambda e: e[3])
spoilers = {
    "circular": lambda: fat(get(large[2]), large[2]),
    "crossed": lambda: fat(large[2], small[2]),
    "short": lambda: fat(large[2], END),
    "free": lambda: fat(large[2], 0),
    "range": lambda: fat(large[2], 0x00FFFFF0),
    "long": lambda: (fat(small[2], FREE_PLACE), fat(FREE_PLACE, END)),
    "bad": lambda: fat(FREE_PLACE, 0x0FFFFFF7),
    "lost": lambda: fat(FREE_PLACE, END),
    "differ": lambda: fat(large[2], 0, fats[1:]),
    "media": lambda: fat(0, 0x0FFFFFF0),
    "error": lambda: fat(1, 0x0BFFFFFF),
    "sum": lambda: write(large[0] - 32 + 13, b"\x00"),
    "twice": lambda: write(small[0], large[1]),
    "dots": lambda: write(cluster_at(pieces) + 26, b"\x09\x00"),
    "backup": lambda: write(start + 6 * 512 + 3, b"OTHER"),
    "info": lambda: write(start + 512, bytes(4)),
    "mark": lambda: write(start + 512 + 510, bytes(2)),
    "off": lambda: boots(40, b"\x81\x00"),
    "stale": lambda: (boots(40, b"\x81\x00"), fat(large[2], END, fats[:1])),
    "active": lambda: boots(40, b"\x82\x00"),
    "version": lambda: boots(42, b"\x01\x00"),
    "slot": lambda: slot(3),
    "label": second_label,
    "per": lambda: write(start + 13, b"\x03"),
    "ntfs": lambda: write(start + 3, b"NTFS    "),
}
spoilers[what]()
