#!/usr/bin/python3
"""Full disks, disks that may not be written, and a port that is taken: each command ends with one clear message and exit code
4, and leaves the disk as it was; with room it then does its work. The disk is a small tmpfs in a mount namespace of its own.

    no_room.py FETTLE FETTLE-MAKER     exit 77: no namespace may be made here
"""

import contextlib
import hashlib
import json
import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

FREE_KIB = [0, 4, 12, 40, 120, 400, 1200]
PLATES = ["--plate", "6104183C5", "--plate", "6402207A4"]
findings = []


def run(*words, home):
    return subprocess.run([FETTLE, "--home", str(home), *map(str, words)], capture_output=True, text=True, timeout=60,
                          stdin=subprocess.DEVNULL)


def rows(database):
    """What a record file holds, without its form: one that was only set up holds nothing."""
    try:
        with contextlib.closing(sqlite3.connect(f"file:{database}?immutable=1", uri=True)) as db:
            return sorted(line for line in db.iterdump() if line.startswith("INSERT") and "fettle_schema" not in line)
    except sqlite3.DatabaseError:
        return []


def tree(folder):
    """Every file with its digest, every folder, and what the records hold. Folders that hold nothing and locks are no
    remains: the home and its folders are made by whatever comes first."""
    out = {}
    for p in sorted(folder.rglob("*")):
        name = str(p.relative_to(folder))
        if p.name == "ballast" or p.name.endswith(("-wal", "-shm", "-journal", ".lock")) or p.is_dir():
            continue
        if p.suffix == ".sqlite":
            if held := rows(p):
                out[name] = held
        else:
            out[name] = hashlib.sha256(p.read_bytes()).hexdigest()
    return out


def mount(folder, *options):
    subprocess.run(["mount", "-t", "tmpfs", *options, "none", str(folder)], check=True)


class Disk:
    """A tmpfs of 16 MiB, filled up to so many KiB."""

    def __init__(self, folder):
        self.folder = Path(folder)
        self.folder.mkdir()
        mount(self.folder, "-o", "size=16m")

    def fill(self, free_kib):
        stat = os.statvfs(self.folder)
        left = stat.f_bavail * stat.f_frsize - (free_kib << 10)
        if left > 0:
            with open(self.folder / "ballast", "wb") as f:
                f.write(b"\0" * left)

    def empty(self):
        (self.folder / "ballast").unlink(missing_ok=True)

    def read_only(self, on):
        subprocess.run(["mount", "-o", "remount," + ("ro" if on else "rw"), str(self.folder)], check=True)


def judged(what, done, before, after, codes=(4,)):
    if done.returncode == 0:
        return True
    lines = [line for line in done.stderr.splitlines() if line.strip()]
    if done.returncode not in codes:
        findings.append(f"{what}: exit code {done.returncode}: {done.stderr.strip()[:300]}")
    if not any("Next:" in line for line in lines):
        findings.append(f"{what}: no next step in: {done.stderr.strip()[:300]}")
    if before != after:
        changed = sorted(k for k in before.keys() | after.keys() if before.get(k) != after.get(k))
        findings.append(f"{what}: left behind or changed: {[(k, before.get(k), after.get(k)) for k in changed[:6]]}")
    return False


def attempt(what, disk, words, home):
    """At every amount of room, and on a disk that may not be written; then with room."""
    failed = 0
    for free in [*FREE_KIB, "read-only"]:
        if free == "read-only":
            disk.empty()
            disk.read_only(True)
        else:
            disk.fill(free)
        before = tree(disk.folder)
        done = run(*words, home=home)
        after = tree(disk.folder)
        if free == "read-only":
            disk.read_only(False)
        disk.empty()
        if judged(f"{what}, {free} KiB free", done, before, after):
            print(f"  {what:<22} goes through with {free} KiB free")
            return failed
        failed += 1
    done = run(*words, home=home)
    if done.returncode not in (0, 1):
        findings.append(f"{what}: with room again: exit code {done.returncode}: {done.stderr.strip()[:300]}")
    print(f"  {what:<22} refused {failed} times, then went through")
    return failed


def inner(maker):
    folder = Path(tempfile.mkdtemp(prefix="fettle-room-"))
    mount(folder, "-o", "size=400m")
    for release in ("27.1.110", "27.3.118"):
        subprocess.run([maker, f"--folder={folder / release}", f"--release={release}", "--size=3000000"], check=True,
                       stdout=subprocess.DEVNULL)
    disk = Disk(folder / "disk")
    ready = folder / "home"  # elsewhere, with room
    for release in ("27.1.110", "27.3.118"):
        made = run("shelf", "add", folder / release, "--from", "the portal", "--right", "licence", home=ready)
        assert made.returncode == 0, made.stderr
    here = disk.folder / "home"
    shelve = ("shelf", "add", folder / "27.3.118", "--from", "the portal", "--right", "licence")
    refused = attempt("first shelf add", disk, shelve, here)
    refused += attempt("first job open", disk, ("job", "open", "--customer", "1007", *PLATES), here)
    job = json.loads(run("job", "open", "--customer", "1008", *PLATES, "--json", home=here).stdout)["data"]["job"]
    long = "the screen stays dark " * 4000
    refused += attempt("job note", disk, ("job", "note", job, long), here)
    refused += attempt("family add", disk, ("family", "add", SOURCE / "families/pelm.toml"), here)
    refused += attempt("card lay", disk, ("card", "lay", "27.3.118", "--out", disk.folder / "card.img", "--size", "300M"), ready)
    refused += attempt("plan --picture", disk, ("plan", *PLATES, "--view", "27.1.110 NS", "--to", "27.3.118", "--picture",
                                                disk.folder / "m.svg"), ready)
    run("handover", "make", job, "--out", folder / "first", home=here)  # makes the shop's key, which stays
    refused += attempt("handover make", disk, ("handover", "make", job, "--out", disk.folder / "sheet"), here)
    port = socket.socket()
    port.bind(("127.0.0.1", 0))
    port.listen()
    run("card", "lay", "27.3.118", "--out", folder / "good.img", home=ready)
    before = tree(folder)
    done = run("stand-in", "--card", folder / "good.img", "--from", "27.1.110", "--listen",
               f"127.0.0.1:{port.getsockname()[1]}", home=ready)
    if judged("a taken port", done, before, tree(folder)):
        findings.append("a taken port: exit code 0")
    if str(port.getsockname()[1]) not in done.stderr:
        findings.append(f"a taken port: does not name it: {done.stderr.strip()[:200]}")
    subprocess.run(["umount", str(disk.folder)], check=False)
    subprocess.run(["umount", "-l", str(folder)], check=False)
    shutil.rmtree(folder, ignore_errors=True)
    if refused < 20:
        findings.append(f"only {refused} refusals: the disk was not full")
    print(f"{refused} refusals, {len(findings)} findings")
    for f in findings:
        print("FAILED", f)
    return 1 if findings else 0


SOURCE = Path(__file__).resolve().parent.parent.parent
FETTLE = sys.argv[1]
if len(sys.argv) > 3:
    sys.exit(inner(sys.argv[2]))
try:
    subprocess.run(["unshare", "-r", "-m", "true"], check=True, stderr=subprocess.DEVNULL)
except (OSError, subprocess.CalledProcessError):
    print("skipped: no namespace of one's own may be made here")
    sys.exit(77)
sys.exit(subprocess.run(["unshare", "-r", "-m", sys.executable, __file__, FETTLE, sys.argv[2], "inner"], check=False).returncode)
