#!/usr/bin/python3
"""First contact with packages that nobody here made, as far as this machine has them: Debian packages of apt's cache, a
repository's Packages over them by dpkg-scanpackages, a source package by dpkg-source, the RECORD of installed wheels, a
lock file by npm. What must be found is counted here, by Python's hashlib, from the package's own index. Whatever is not on
the machine is printed as skipped; at least one kind must be there.

    first_contact_real.py FETTLE
"""

import base64
import csv
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

FETTLE = sys.argv[1]
done = []


def draft(at, *words):
    out = subprocess.run([FETTLE, "--home", folder / "home", "--json", "family", "draft", at, "--plate", "5801234A7", *words],
                         capture_output=True, text=True, timeout=300)
    if out.returncode:
        sys.exit(f"{at.name}: exit {out.returncode}\n{out.stdout}{out.stderr}")
    data = json.loads(out.stdout)["data"]
    file = folder / "drafted.toml"
    file.write_text(data["toml"])
    checked = subprocess.run([FETTLE, "--home", folder / "home", "family", "check", file], capture_output=True, text=True, timeout=60)
    if checked.returncode:
        sys.exit(f"{at.name}: the draft does not load\n{checked.stdout}{data['toml']}")
    return "\n".join(data["found"] + data["unknown"]) + "\n" + data["toml"]


def wants(kind, said, *texts):
    for text in texts:
        if text not in said:
            sys.exit(f"{kind}: expected {text!r}; saw:\n{said}")
    done.append(kind)
    print(f"{kind}: {'; '.join(texts)}")


def run(*words, cwd=None):
    return subprocess.run(list(map(str, words)), cwd=cwd, capture_output=True, text=True, timeout=240, check=False)


def debs(most, lowest=20_000, highest=400_000):
    found = sorted(Path("/var/cache/apt/archives").glob("*.deb"))
    return [d for d in found if lowest < d.stat().st_size < highest][:most]


def deb():
    for package in debs(4) if shutil.which("dpkg-deb") else []:
        at = folder / package.name.split("_")[0]
        if run("dpkg-deb", "-R", package, at).returncode or not (at / "DEBIAN/md5sums").exists():
            continue
        lines = (at / "DEBIAN/md5sums").read_text().splitlines()
        good = sum(hashlib.md5((at / line[34:]).read_bytes()).hexdigest() == line[:32] for line in lines if (at / line[34:]).is_file())
        if good > 1:
            wants(f"deb {package.name}", draft(at), f"{good} of {len(lines)} records", f"{good} of {good} agree, MD5, hex")


def repository():
    chosen = debs(12)
    if not shutil.which("dpkg-scanpackages") or len(chosen) < 3:
        return
    at = folder / "repo-12.1"
    (at / "pool").mkdir(parents=True)
    for package in chosen:
        shutil.copyfile(package, at / "pool" / package.name.replace("%3a", ":"))
    (at / "Packages").write_text(run("dpkg-scanpackages", "-m", "pool", cwd=at).stdout)
    n = len(list((at / "pool").iterdir()))
    (at / "Release").write_text("Suite: made\nSHA256:\n " + " ".join(
        [hashlib.sha256((at / "Packages").read_bytes()).hexdigest(), str((at / "Packages").stat().st_size), "Packages"]) + "\n")
    wants("repository", draft(at), f"Packages as stanzas, {n} of {n} records", f"sizes: {n} of {n} agree", f"{n} of {n} agree, SHA-256, hex")


def source_package():
    if not shutil.which("dpkg-source") or not shutil.which("dpkg-deb"):
        return
    tree = folder / "pelmet-1.0"
    (tree / "debian/source").mkdir(parents=True)
    (tree / "a.c").write_text("int main(void) { return 0; }\n")
    (tree / "debian/source/format").write_text("3.0 (native)\n")
    (tree / "debian/control").write_text("Source: pelmet\nMaintainer: nobody <n@example.org>\nStandards-Version: 4.6.2\n\n"
                                         "Package: pelmet\nArchitecture: all\nDescription: made for a test\n")
    (tree / "debian/changelog").write_text("pelmet (1.0) unstable; urgency=low\n\n  * One.\n\n -- nobody <n@example.org>  "
                                           "Thu, 01 Oct 2026 12:00:00 +0000\n")
    at = folder / "source_1.0"
    at.mkdir()
    if run("dpkg-source", "-b", tree, cwd=at).returncode:
        return
    if not list(at.glob("*.dsc")):
        return
    wants("source package", draft(at), "1 of 1 records", "1 of 1 agree, SHA-256, hex")


def wheel():
    best = None
    for record in Path("/usr/lib/python3/dist-packages").glob("*.dist-info/RECORD"):
        rows = list(csv.reader(record.open()))
        there = [r for r in rows if r[1] and not r[0].startswith("..") and (record.parent.parent / r[0]).is_file()]
        if len(there) > 5 and (best is None or len(there) < len(best[2])) and len(there) == sum(1 for r in rows if r[1]):
            best = (record, rows, there)
    if not best:
        return
    record, rows, there = best
    at = folder / record.parent.name
    for row in there:
        (at / row[0]).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(record.parent.parent / row[0], at / row[0])
    target = at / record.parent.name / "RECORD"
    target.parent.mkdir(exist_ok=True)
    shutil.copyfile(record, target)
    # The standard says base64; Debian's own builds write hex. Which it is here is counted, not assumed.
    ways = {"base64": lambda d: base64.urlsafe_b64encode(d).rstrip(b"=").decode(), "hex": bytes.hex}
    counts = {name: sum(way(hashlib.sha256((at / r[0]).read_bytes()).digest()) == r[1][7:] for r in there) for name, way in ways.items()}
    best = max(counts, key=counts.get)
    wants(f"wheel {record.parent.name}", draft(at), f"{counts[best]} of {len(there)} agree, SHA-256, {best}")


def lock():
    if not shutil.which("npm"):
        return
    at = folder / "locked"
    at.mkdir()
    for i in range(6):
        made = folder / f"made{i}"
        made.mkdir()
        (made / "package.json").write_text(json.dumps({"name": f"pelmet-{i}", "version": f"1.{i}.0", "files": ["x.js"]}))
        (made / "x.js").write_text(f"module.exports = {i};\n" * 50)
        run("npm", "pack", "--offline", made, cwd=at)
    tarballs = sorted(p.name for p in at.glob("*.tgz"))
    if len(tarballs) != 6:
        return
    (at / "package.json").write_text(json.dumps({"name": "locked", "version": "2.1.0", "dependencies": {
        f"pelmet-{i}": f"file:{name}" for i, name in enumerate(tarballs)}}))
    run("npm", "install", "--offline", "--package-lock-only", "--ignore-scripts", "--no-audit", "--no-fund", cwd=at)
    if not (at / "package-lock.json").exists():
        return
    listed = [p for p in json.loads((at / "package-lock.json").read_text())["packages"].values() if "integrity" in p]
    good = sum(p["integrity"] == "sha512-" + base64.b64encode(hashlib.sha512((at / p["resolved"][5:]).read_bytes()).digest()).decode()
               for p in listed)
    wants("npm lock file", draft(at), f"{good} of {len(listed)} agree, SHA-512, base64")


with tempfile.TemporaryDirectory(prefix="first-contact-real-") as made_folder:
    folder = Path(made_folder)
    for part in (deb, repository, source_package, wheel, lock):
        before = len(done)
        part()
        if len(done) == before:
            print(f"skipped: {part.__name__}: what it takes is not on this machine")
if not done:
    print("skipped: no package of any kind is on this machine")
print(f"{len(done)} packages, 0 failed")
