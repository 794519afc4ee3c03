#!/usr/bin/python3
"""A second opinion on cards: every byte of the structure of small good images is changed, one place at a time, and each
copy is audited. Of those that the audit lets pass (fit or mind), the files are read by mtools, by sleuthkit and by the
plain readers of plain_readers.py, and looked at by fsck.fat or fsck.exfat. Where two readers get other bytes than the
release's, or one does and the checker finds an error, letting it pass is a failure. What one reader alone gets wrong is
listed by field: docs/card.md tells of it.

    card_second_opinion.py PROGRAM [--sample N] [--kind KIND]… [--show]

PROGRAM: the built card_mutations. --sample: so many changes a kind of volume, by a fixed seed. Exit 77: a reader is not
installed."""

import argparse
import collections
import hashlib
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import plain_readers

START = 2048  # sectors
SIZES = {"fat12": 1 << 20, "fat16": 4 << 20, "fat32": 35 << 20, "exfat": 4 << 20}
ENVIRONMENT = {**os.environ, "MTOOLSRC": "/dev/null", "MTOOLS_SKIP_CHECK": "0", "LC_ALL": "C.UTF-8",
               "PATH": os.environ["PATH"] + ":/sbin:/usr/sbin"}
TOOLS = ["sfdisk", "mkfs.fat", "mcopy", "tsk_recover", "fsck.fat", "fsck.exfat"]
PASSES = ("fit", "mind")
SUMS = ", sums put right"


def run(args, **more):
    return subprocess.run(list(map(str, args)), capture_output=True, env=ENVIRONMENT, timeout=60, check=False, **more)


def must(args, **more):
    done = run(args, **more)
    if done.returncode:
        sys.exit(f"{args[0]} failed: {done.stderr.decode()}")


def make(program, work, kind):
    """A good image of that kind; its path."""
    image, pack = work / f"{kind}.img", work / "pack"
    size = SIZES[kind] + START * 512
    if kind == "exfat":  # no stock tool writes files into exFAT without mounting it
        must([program, "lay", image, kind, 16 << 20])
        return image
    with open(image, "wb") as f:
        f.truncate(size)
    must(["sfdisk", "-q", image], input=f"start={START}, type={'c' if kind == 'fat32' else 6}\n".encode())
    must(["mkfs.fat", "-F", kind[3:], "-s", "1", "-h", START, "-n", "CARD", f"--offset={START}", image, SIZES[kind] // 1024])
    must(["mcopy", "-s", "-Q", "-i", f"{image}@@{START * 512}", *sorted(pack.iterdir()), "::/"])
    return image


class Image:
    def __init__(self, path, kind):
        self.path, self.kind = path, kind
        self.bytes = path.read_bytes()
        self.start = 512 * int.from_bytes(self.bytes[454:458], "little")
        b = self.bytes[self.start:self.start + 512]
        if kind == "exfat":
            self.plain = plain_readers.ExFat(self.bytes, self.start)
        else:
            self.plain = plain_readers.Fat(self.bytes, self.start)
            self.copies = b[16]
            self.fat_bytes = 512 * (plain_readers.u16(b, 22) or plain_readers.u32(b, 36))

    def used_clusters(self):
        p, out = self.plain, []
        for c in range(2, min(p.clusters + 2, 400)):
            if p.next(c):
                out.append(c)
        return out

    def entries(self):
        """Bytes of the device that hold folder entries, with one free entry behind each folder's last."""
        p, out = self.plain, []
        folders = [self.start + p.data + (c - 2) * p.cluster for c in self.folder_clusters()]
        if self.kind in ("fat12", "fat16"):
            b = self.bytes[self.start:self.start + 512]
            folders.append(self.start + 512 * (plain_readers.u16(b, 14) + b[16] * plain_readers.u16(b, 22)))
        for at in folders:
            end = at
            while self.bytes[end] != 0 and end < at + p.cluster * 4:
                end += 32
            out += range(at, min(end + 32, at + p.cluster * 4))
        return sorted(set(out))

    def folder_clusters(self):
        p = self.plain
        if self.kind == "exfat":
            found = [plain_readers.u32(self.bytes, self.start + 96)]
            for at in range(0, len(p.top) - 31, 32):
                if p.top[at] == 0x85 and p.top[at + 4] & 0x10:
                    found.append(plain_readers.u32(p.top, at + 32 + 20))
            return found
        found = [plain_readers.u32(self.bytes, self.start + 44)] if self.kind == "fat32" else []
        for at in range(0, len(p.top) - 31, 32):
            if p.top[at] not in (0, 0xE5) and p.top[at + 11] & 0x3F == 0x10:
                found.append(plain_readers.u16(p.top, at + 26))
        return found

    def places(self):
        """(name of the part, offset on the device, further offsets that hold the same)."""
        out = [("table", at, []) for at in range(440, 512)]
        if self.kind == "exfat":
            return out + self.exfat_places()
        backup = [self.start + 6 * 512] if self.kind == "fat32" else []
        for at in range(512):
            out.append((f"boot {at}", self.start + at, []))
            if backup:
                out.append((f"boot and backup {at}", self.start + at, [backup[0] + at]))
        if self.kind == "fat32":
            out += [(f"FSInfo {at}", self.start + 512 + at, []) for at in range(512)]
        fat, bits = self.start + self.plain.fat, self.plain.bits
        upto = (max(self.used_clusters()) + 3) * bits // 8 + 2
        for at in range(upto):
            out.append(("one FAT", fat + at, []))
            if self.copies > 1:
                out.append(("second FAT", fat + self.fat_bytes + at, []))
                out.append(("both FATs", fat + at, [fat + self.fat_bytes + at]))
        return out + self.entry_places()

    def entry_places(self):
        out = []
        for at in self.entries():
            e = self.bytes[at - (at - self.start) % 32:][:32]
            if self.kind == "exfat":
                what = f"of type {e[0]:02X}"
            else:
                what = "behind the last" if e[0] == 0 else "of a long name" if e[11] == 0x0F else "short"
            out.append((f"entry {what}, byte {(at - self.start) % 32}", at, []))
        return out

    def exfat_places(self):
        p, out = self.plain, [(f"boot {at}", self.start + at, []) for at in range(512)]
        fat = self.start + p.fat
        out += [("FAT", fat + at, []) for at in range((max(self.used_clusters()) + 3) * 4)]
        for first, size in self.system_files():
            out += [("bitmap or up-case table", self.start + p.data + (first - 2) * p.cluster + at, [])
                    for at in range(min(size, 600))]
        return out + self.entry_places()

    def system_files(self):
        top = self.plain.top
        return [(plain_readers.u32(top, at + 20), plain_readers.u32(top, at + 24)) for at in range(0, len(top) - 31, 32)
                if top[at] in (0x81, 0x82)]

    def repaired(self, changes):
        """exFAT: the same change with its checksum put right, as somebody who writes on purpose would."""
        copy = bytearray(self.bytes)
        for at, value in changes:
            copy[at] = value
        out = {}
        for region in (0, 12 * 512):
            total = 0
            base = self.start + region
            for i in range(11 * 512):
                if i not in (106, 107, 112):
                    total = ((total << 31) & 0x80000000 | total >> 1) + copy[base + i] & 0xFFFFFFFF
            for i in range(512):
                out[base + 11 * 512 + i] = total.to_bytes(4, "little")[i % 4]
        for cluster in self.folder_clusters():
            base, i = self.start + self.plain.data + (cluster - 2) * self.plain.cluster, 0
            while i < self.plain.cluster and copy[base + i]:
                n = 32 * (copy[base + i + 1] + 1)
                if copy[base + i] != 0x85 or n > 32 * 20:
                    i += 32
                    continue
                total = 0
                for k in range(n):
                    if k not in (2, 3):
                        total = ((total & 1) << 15) + (total >> 1) + copy[base + i + k] & 0xFFFF
                out[base + i + 2], out[base + i + 3] = total & 255, total >> 8
                i += n
        return changes + [(at, v) for at, v in out.items() if self.bytes[at] != v and at not in dict(changes)]

    def mutations(self):
        """(name, [(offset, value)])"""
        rng = random.Random(20260)
        for name, at, more in self.places():
            old = self.bytes[at]
            for value in sorted({old ^ 1, old ^ 0x80, 0, 0xFF, old + 1 & 255, rng.randrange(256)} - {old}):
                changes = [(a, value) for a in [at, *more]]
                yield name, changes
                if self.kind == "exfat" and name.startswith(("boot", "entry")):
                    yield name + SUMS, changes


def judged(program, image, mutations):
    lines = "".join(" ".join(f"{at}:{value:02x}" for at, value in changes) + "\n" for _, changes in mutations)
    done = subprocess.run([program, "judge", image.path, image.kind], input=lines, capture_output=True, text=True, check=False)
    answers = done.stdout.splitlines()
    if done.returncode or len(answers) != len(mutations):
        sys.exit(f"card_mutations gave {len(answers)} answers to {len(mutations)} changes: {done.stderr}")
    return [a.split() for a in answers]


def tree(folder):
    return {str(f.relative_to(folder)).lower(): hashlib.sha256(f.read_bytes()).hexdigest()
            for f in folder.rglob("*") if f.is_file()}


class Readers:
    def __init__(self, image, work, wanted):
        self.image, self.wanted, self.out = image, wanted, work / "read"
        # One place at a time is changed in files that stay.
        self.path, self.volume, self.copy = work / "changed.img", work / "volume", bytearray(image.bytes)
        self.path.write_bytes(image.bytes)
        self.volume.write_bytes(image.bytes[image.start:])

    def fresh(self):
        shutil.rmtree(self.out, ignore_errors=True)
        self.out.mkdir()
        return self.out

    def opinions(self, changes):
        """Reader → whether it reads the release's bytes; and whether the checker finds nothing."""
        self.change(changes)
        try:
            return self.asked()
        finally:
            self.change([(at, self.image.bytes[at]) for at, _ in changes])

    def change(self, changes):
        with open(self.path, "r+b") as card, open(self.volume, "r+b") as volume:
            for at, value in changes:
                self.copy[at] = value
                card.seek(at)
                card.write(bytes([value]))
                if at >= self.image.start:
                    volume.seek(at - self.image.start)
                    volume.write(bytes([value]))

    def asked(self):
        exfat = self.image.kind == "exfat"
        start = 512 * int.from_bytes(self.copy[454:458], "little")
        plain = plain_readers.read(self.copy, start, exfat)
        out = {"plain": all(plain.get(p) is not None and hashlib.sha256(plain[p]).hexdigest() == d
                            for p, d in self.wanted.items())}
        if not exfat:
            run(["mcopy", "-s", "-n", "-i", f"{self.path}@@{start}", "::/", self.fresh()], stdin=subprocess.DEVNULL)
            out["mtools"] = self.right(tree(self.out))
        run(["tsk_recover", "-a", "-o", start // 512, self.path, self.fresh()])
        out["sleuthkit"] = self.right(tree(self.out))
        return out, run([f"fsck.{'exfat' if exfat else 'fat'}", "-n", self.volume]).returncode == 0

    def right(self, found):
        return all(found.get(p) == d for p, d in self.wanted.items())


def look(program, work, kind, options, totals, listed):
    image = Image(make(program, work, kind), kind)
    wanted = tree(work / "pack")
    readers = Readers(image, work, wanted)
    good = judged(program, image, [("nothing", [(0, image.bytes[0])])])[0]
    opinions, checked = readers.opinions([])
    if good[0] != "fit" or not all(opinions.values()) or not checked:
        sys.exit(f"{kind}: the image before any change is {' '.join(good)}; readers {opinions}, checker {checked}")
    mutations = list(image.mutations())
    if options.sample:
        mutations = random.Random(7).sample(mutations, options.sample)
    mutations = [(n, image.repaired(c) if n.endswith(SUMS) else c) for n, c in mutations]
    failures = []
    for (name, changes), answer in zip(mutations, judged(program, image, mutations)):
        totals["mutations"] += 1
        if answer[0] not in PASSES:
            totals["stopped"] += 1
            continue
        opinions, checked = readers.opinions(changes)
        other = sorted(r for r, right in opinions.items() if not right)
        if not other and checked:
            continue
        totals["disagreements"] += 1
        listed[kind, name, " ".join(other) or "checker alone", " ".join(answer)] += 1
        if options.show and other:
            print(f"      {kind}, {name}: {' '.join(f'{at}:{v:02x}' for at, v in changes[:2])}, of {image.bytes[changes[0][0]]:02x}")
        if len(other) >= 2 or (other and not checked):
            failures.append(f"{kind}, {name}: {' '.join(f'{at}:{v:02x}' for at, v in changes[:2])} is {' '.join(answer)}; "
                            f"other bytes for {', '.join(other)}, checker {'content' if checked else 'finds an error'}")
    return failures


def main():
    options = argparse.ArgumentParser()
    options.add_argument("program", type=Path)
    options.add_argument("--sample", type=int)
    options.add_argument("--kind", choices=list(SIZES), action="append")
    options.add_argument("--show", action="store_true")
    options = options.parse_args()
    missing = [t for t in TOOLS if not shutil.which(t, path=ENVIRONMENT["PATH"])]
    if missing:
        print("skipped: not installed:", *missing)
        sys.exit(77)
    program = options.program.resolve()
    totals, listed, failures = collections.Counter(), collections.Counter(), []
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        must([program, "package", work / "pack"])
        for kind in options.kind or SIZES:
            failures += look(program, work, kind, options, totals, listed)
    if options.show:
        for (kind, name, who, answer), n in sorted(listed.items()):
            print(f"{n:5} {kind:6} {name:36} {who:24} {answer}")
    for failure in failures[:40]:
        print("failed:", failure)
    print(f"{totals['mutations']} mutations, {totals['stopped']} stopped, {totals['disagreements']} let pass on which a reader "
          f"or a checker disagrees, {len(failures)} of them wrongly")
    sys.exit(1 if failures or not totals["mutations"] else 0)


main()
