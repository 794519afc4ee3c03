#!/usr/bin/python3
"""Cards made to wear out whoever reads them: absurd counts, chains that jump about, folders without end, indexes of nothing
but commas. Whatever they hold, auditing and drawing them ends, and takes less than 128 MiB of memory. The images are sparse,
written here by Microsoft's FAT specification 1.03 and share no code with Fettle.

    hostile_cards.py FETTLE
"""

import shutil
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

MOST_KIB, MOST_S = 128 << 10, 120
FETTLE = sys.argv[1]
SMALL = """import resource, subprocess, sys
code = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode
print(code, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"""
END, SECTOR = 0x0FFFFFFF, 512
MOST_SECTORS = 0xFFFFFFFF


class Card:
    """A FAT32 volume without a table: 32 reserved sectors, two FATs, top folder at cluster 2."""

    def __init__(self, path, sectors, per_cluster, image_bytes=None):
        self.path, self.cluster = path, per_cluster * SECTOR
        self.fat_sectors = (sectors // per_cluster + 2) * 4 // SECTOR + 1
        self.data = (32 + 2 * self.fat_sectors) * SECTOR
        self.clusters = (sectors - 32 - 2 * self.fat_sectors) // per_cluster
        self.image_bytes = image_bytes or sectors * SECTOR
        boot = bytearray(SECTOR)
        boot[0:11] = b"\xeb\x58\x90MSWIN4.1"
        struct.pack_into("<HBHBHHBHHHII", boot, 11, SECTOR, per_cluster, 32, 2, 0, 0, 0xF8, 0, 63, 255, 0, sectors)
        struct.pack_into("<IHHIHH", boot, 36, self.fat_sectors, 0, 0, 2, 1, 6)
        boot[66], boot[71:90], boot[510:512] = 0x29, b"HOSTILE    FAT32   ", b"\x55\xaa"
        self.f = open(path, "wb")
        self.f.truncate(self.image_bytes)
        self.write(0, boot)
        self.write(6 * SECTOR, boot)
        self.next, self.fat = 2, {0: 0x0FFFFFF8, 1: END}

    def write(self, at, content):
        if at + len(content) <= self.image_bytes:
            self.f.seek(at)
            self.f.write(content)

    def take(self, count):
        """A chain of so many clusters in a row; its first."""
        first, self.next = self.next, self.next + count
        for c in range(first, first + count):
            self.fat[c] = c + 1 if c + 1 < first + count else END
        return first

    def put(self, cluster, content):
        self.write(self.data + (cluster - 2) * self.cluster, content)

    def done(self):
        for cluster, value in self.fat.items():
            for copy in (0, 1):
                self.write((32 + copy * self.fat_sectors) * SECTOR + 4 * cluster, struct.pack("<I", value))
        self.f.close()


def entry(short, attributes, first, size):
    return short + bytes([attributes]) + bytes(8) + struct.pack("<HIHI", first >> 16, 0, first & 0xFFFF, size)


def long_entries(name, short):
    total = 0
    for b in short:
        total = ((total & 1) << 7) + (total >> 1) + b & 0xFF
    units = name.encode("utf-16-le") + (b"\0\0" if len(name) % 13 else b"")
    count = (len(name) + 12) // 13
    units = units.ljust(count * 26, b"\xff")
    out = b""
    for i in range(count, 0, -1):
        p = units[(i - 1) * 26 : i * 26]
        out += bytes([i | (0x40 if i == count else 0)]) + p[:10] + b"\x0f\0" + bytes([total]) + p[10:22] + b"\0\0" + p[22:]
    return out


def absurd_counts(path):
    c = Card(path, MOST_SECTORS, 16)  # 268 million clusters on 2 TiB
    c.take(1)
    c.done()


def more_than_there_is(path):
    c = Card(path, MOST_SECTORS, 16, 64 << 20)
    c.take(1)
    c.done()


def scattered_chain(path):
    c = Card(path, MOST_SECTORS, 16)  # one file, its clusters 256 MiB apart
    c.take(1)
    places = list(range(3, c.clusters, 32768))
    c.fat.update(zip(places, places[1:] + [END]))
    c.put(2, entry(b"RELEASE JSO", 0x20, places[0], min(len(places) * c.cluster, 0xFFFFFFFF)))
    c.done()


def long_names(path):
    c = Card(path, 16 << 20, 8)  # 120 folders of 2,900 files, each name 250 characters
    top, listed = c.take(512), b""
    for i in range(120):
        short, at = b"D%07d   " % i, c.take(512)
        listed += long_entries(f"d{i:03}" + "x" * 240, short) + entry(short, 0x10, at, 0)
        inside = entry(b".          ", 0x10, at, 0) + entry(b"..         ", 0x10, 0, 0)
        for k in range(2900):
            short = b"F%07d   " % k
            inside += long_entries(f"f{k:04}" + "y" * 245, short) + entry(short, 0x20, 0, 5)
        c.put(at, inside)
    c.put(top, listed)
    c.done()


def folders_in_circles(path):
    c = Card(path, 16 << 20, 8)  # 65,000 folders, each of which names 128 of the others
    top = c.take(512)
    places = [c.take(1) for _ in range(65000)]
    c.put(top, b"".join(entry(b"D%07d   " % i, 0x10, at, 0) for i, at in enumerate(places)))
    for n, at in enumerate(places):
        c.put(at, b"".join(entry(b"E%07d   " % i, 0x10, places[(7 * n + i) % 65000], 0) for i in range(128)))
    c.done()


def index_of(head, part, count, tail):
    def make(path):
        content = head + part * count + tail
        c = Card(path, 16 << 20, 8)
        c.take(1)
        at = c.take((len(content) + c.cluster - 1) // c.cluster)
        short = b"RELEASE JSO"
        c.put(2, long_entries("release.json", short) + entry(short, 0x20, at, len(content)))
        c.put(at, content)
        c.done()

    return make


MIB = 1 << 20
PIECE = b'{"name":"a","box":"main","region":"system","version":"1","file":"f","bytes":1,"sha256":"' + b"0" * 64 + b'"},'
kinds = {
    "absurd counts": absurd_counts,
    "more than there is": more_than_there_is,
    "a chain that jumps": scattered_chain,
    "long names": long_names,
    "folders in circles": folders_in_circles,
    "an index of ones": index_of(b"[", b"1,", 4 * MIB - 8, b"1]"),
    "an index of empty lists": index_of(b"[", b"[],", 2 * MIB, b"1]"),
    "an index of depth": index_of(b"", b"[", 8 * MIB, b""),
    "an index of markup": index_of(b"<a>", b"<b/>", 2 * MIB - 8, b"</a>"),
    "as many pieces as are read": index_of(
        b'{"family":"dunnock","release":"27.3.118","markets":["NS"],"counter":1,"pieces":[', PIECE, 22000, PIECE[:-1] + b"]}"
    ),
    "an index of long words": index_of(
        b'{"family":"dunnock","release":"27.3.118","markets":["NS"],"counter":1,"pieces":[',
        PIECE.replace(b'"f"', b'"' + b"f/" * 100 + b'"'), 22000, PIECE[:-1] + b"]}",
    ),
}


def run(folder, words):
    """Exit code, seconds and KiB of one run. By a small program in between: a child's peak begins with its parent's."""
    started = time.monotonic()
    said = subprocess.run([sys.executable, "-c", SMALL, FETTLE, "--home", folder / "home", *words], stdout=subprocess.PIPE, check=True)
    code, kib = map(int, said.stdout.split())
    return code, time.monotonic() - started, kib


def main():
    failed = 0
    room = shutil.disk_usage("/dev/shm").free if Path("/dev/shm").is_dir() else 0
    with tempfile.TemporaryDirectory(dir="/dev/shm" if room > 1 << 30 else None) as name:
        folder = Path(name)
        for kind, make in kinds.items():
            image = folder / "card.img"
            image.unlink(missing_ok=True)
            make(image)
            most = slowest = 0
            for words in (["card", "audit", image], ["card", "audit", image, "--family", "dunnock"], ["card", "map", image]):
                code, seconds, kib = run(folder, words)
                most, slowest = max(most, kib), max(slowest, seconds)
                # Of such a card nothing good is said; a map may be drawn of it.
                if code not in ((0, 1, 3) if words[1] == "map" else (1, 3)) or seconds > MOST_S or kib > MOST_KIB:
                    failed += 1
                    print(f"failed: {kind}: {' '.join(map(str, words))}: exit {code}, {seconds:.1f} s, {kib} KiB")
            print(f"{kind}: at most {most >> 10} MiB, {slowest:.1f} s")
    print(f"{len(kinds)} cards, {failed} failed")
    return failed != 0


sys.exit(main())
