#!/usr/bin/python3
"""Every package of packages.toml is built again, offered to the real program, and must be refused with exactly its codes,
leaving nothing behind. Whole packages in every kind of archive, made by the programs that people use (zip, tar, 7z,
bsdtar) and by our own writers, must be taken, all with the same content."""

import argparse
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))
import quick_disk  # noqa: E402
from archive_writers import WRITERS, Entry  # noqa: E402
from case_lib import EXAMPLE_SEED, ed25519_sign  # noqa: E402
from other_makers import BY_FORM, Makers  # noqa: E402

LEAST_PACKAGES = 40
# Order of the group of Ed25519 (RFC 8032, 5.1).
L = 2**252 + 27742317777372353535851937790883648493
SIGNATURES = {}  # (seed, text) → signature: many packages differ in their files only


def signed(seed, text):
    if (seed, text) not in SIGNATURES:
        SIGNATURES[seed, text] = ed25519_sign(seed, text)
    return SIGNATURES[seed, text]


class Package:
    """A whole package of the example family, and the words by which it is spoilt."""

    def __init__(self, release="27.3.118"):
        self.release, self.files, self.entries = release, {}, []
        self.links, self.pipes, self.prefix, self.claims, self.locked = {}, [], "", {}, set()
        self.local_names = {}
        self.index = {"family": "dunnock", "release": release, "markets": ["NS"], "installs_from": "26.4.102",
                      "counter": 1, "no_return": False, "cures": ["Reversing picture freezes"], "pieces": []}
        self.signature, self.seed, self.add_l = None, EXAMPLE_SEED, False
        self.changes_to_index, self.cut_to, self.raw_text, self.names, self.just = [], None, None, {}, None
        for name, size in (("kernel", 4096), ("fonts", 70000)):
            self.listed(f"main/{name}.bin", f"{name} of {release} ".ljust(size, "."))

    # words of packages.toml

    def listed(self, path, text):
        self.list(path, text)
        self.files[path] = text.encode()

    def list(self, path, text="x"):
        self.index["pieces"].append({"name": path.replace("\\", "/"), "box": "main", "region": "kernel", "version": self.release,
                                     "file": path, "bytes": len(text.encode()),
                                     "sha256": hashlib.sha256(text.encode()).hexdigest(), "issues": []})

    def listed_long(self, length):
        self.listed("main/" + "x" * length, "x")

    def listed_again(self, path, text):
        self.list(path, text)
        self.index["pieces"][-1]["name"] = "again"

    def list_as_it_is(self):
        for piece in self.index["pieces"]:
            data = self.files[piece["file"]]
            piece["bytes"], piece["sha256"] = len(data), hashlib.sha256(data).hexdigest()

    def file(self, path, text):
        self.files[path] = text.encode()

    def content(self, path, text):
        self.files[path] = text.encode().ljust(len(self.files[path]), b".")

    def drop(self, path):
        del self.files[path]

    def flip(self, path):
        data = bytearray(self.files[path])
        data[len(data) // 2] ^= 1
        self.files[path] = bytes(data)

    def grow(self, path, count):
        self.files[path] += b"\0" * count

    def shrink(self, path, count):
        self.files[path] = self.files[path][:-count]

    def set(self, key, value):
        self.index[key] = value

    def piece(self, key, value):
        self.index["pieces"][0][key] = value

    def older_index(self):
        self.index = Package("27.1.110").index

    def unsigned(self):
        self.seed = None

    def signed_by(self, who):
        self.seed = hashlib.sha256(who.encode()).digest()

    def signature_is(self, text, times=1):
        self.signature = text.encode() * times

    def signature_plus_L(self):
        self.add_l = True

    def flip_index(self):
        self.changes_to_index.append(lambda text: text.replace(b"installs_from", b"installs_From"))

    def cut_index(self, part):
        # Cut before it is signed: the maker's own mistake.
        self.index_cut = part

    def rename(self, path, to):
        self.names[path] = to

    def under(self, folder):
        self.prefix = folder + "/"

    def only(self, path, text):
        self.just = {path: text.encode()}

    def link(self, path, to):
        self.links[path] = to

    def pipe(self, path):
        self.pipes.append(path)

    def entry(self, name, kind, data="x"):
        self.entries.append(Entry(name.encode(), data.encode(), kind))

    def entry_bytes(self, name):
        self.entries.append(Entry(bytes.fromhex(name), b"x"))

    def claim(self, path, size):
        self.claims[path.encode()] = size

    def called_otherwise_inside(self, path, name):
        self.local_names[path.encode()] = name.encode()

    def encrypted(self, path):
        self.locked.add(path.encode())

    def cut(self, part):
        self.cut_to = part

    def raw(self, text):
        self.raw_text = text.encode()

    def do(self, words):
        name = {"signature": "signature_is", "signature plus L": "signature_plus_L"}.get(words[0], words[0].replace(" ", "_"))
        getattr(self, name)(*words[1:])

    # building

    def all_files(self):
        if self.just is not None:
            return self.just
        text = json.dumps(self.index).encode()
        if hasattr(self, "index_cut"):
            text = text[:int(len(text) * self.index_cut)]
        files = {}
        signature = self.signature
        if signature is None and self.seed is not None:
            signature = signed(self.seed, text)
            if self.add_l:
                signature = signature[:32] + (int.from_bytes(signature[32:], "little") + L).to_bytes(32, "little")
        for change in self.changes_to_index:
            text = change(text)
        files["release.json"] = text
        if signature is not None:
            files["release.sig"] = signature
        files.update(self.files)
        return {self.prefix + self.names.get(path, path): data for path, data in files.items()}

    def build(self, kind, at):
        if kind == "raw":
            (at / "package").write_bytes(self.raw_text)
            return at / "package"
        if kind == "folder":
            for path, data in self.all_files().items():
                if path not in self.links:
                    (at / "package" / path).parent.mkdir(parents=True, exist_ok=True)
                    (at / "package" / path).write_bytes(data)
            for path, to in self.links.items():
                (at / "package" / path).symlink_to(to)
            for path in self.pipes:
                os.mkfifo(at / "package" / path)
            return at / "package"
        entries = [Entry(path.encode(), data) for path, data in self.all_files().items()] + self.entries
        for e in entries:
            e.claimed, e.encrypted, e.local_name = self.claims.get(e.name), e.name in self.locked, self.local_names.get(e.name)
        data = WRITERS[kind](entries)
        archive = at / f"package.{kind}"
        archive.write_bytes(data if self.cut_to is None else data[:int(len(data) * self.cut_to)])
        return archive


class Shelf:
    """The program with a home of its own."""

    def __init__(self, fettle, home, family="dunnock"):
        self.fettle, self.home, self.family = fettle, home, family

    def add(self, package, *more):
        done = subprocess.run([self.fettle, "--home", self.home, "shelf", "add", package, "--family", self.family, "--from", "a test",
                               "--right", "own-work", "--json", *more], capture_output=True, timeout=60)
        try:
            return done.returncode, json.loads(done.stdout)
        except ValueError:
            return done.returncode, {"verdict": "none", "reasons": [], "data": {}, "output": done.stdout + done.stderr}

    def content(self):
        """Everything in the home but lock files and SQLite's side files."""
        skip = ("-wal", "-shm", ".lock")
        return {str(f.relative_to(self.home)): f.read_bytes() for f in sorted(self.home.rglob("*"))
                if f.is_file() and not f.name.endswith(skip)}


def codes(document, verdict):
    return sorted({r["code"] for r in document["reasons"] if r["verdict"] == verdict})


def halts(document):
    return codes(document, "halt")


def built_of_another_maker(package, makers, at):
    """Its path, and the family that it is for."""
    made = BY_FORM[package["form"]](makers)
    for words in package["do"]:
        made.do(words)
    files = made.all_files()
    if package.get("as", "folder") == "folder":
        for path, data in files.items():
            (at / "package" / path).parent.mkdir(parents=True, exist_ok=True)
            (at / "package" / path).write_bytes(data)
        return at / "package", made.family
    archive = at / f"package.{package['as']}"
    archive.write_bytes(WRITERS[package["as"]]([Entry(p.encode(), d) for p, d in files.items()] + made.entries))
    return archive, made.family


def check_hostile(fettle, package, makers, findings):
    with tempfile.TemporaryDirectory() as folder:
        at = Path(folder)
        (at / "home").mkdir()
        (at / "made").mkdir()
        name, family = package["name"], "dunnock"
        if "form" in package:
            path, family = built_of_another_maker(package, makers, at / "made")
            (at / "home/families").mkdir()
            shutil.copy(makers.at / f"{family}.toml", at / "home/families")
        else:
            made = Package(package.get("release", "27.3.118"))
            for words in package["do"]:
                made.do(words)
            path = made.build(package.get("as", "folder"), at / "made")
        shelf = Shelf(fettle, at / "home", family)
        if "before" in package:
            shelf.add(Package().build("folder", at))
            shutil.rmtree(at / "package")
        before = shelf.content()
        code, document = shelf.add(path)
        if "mind" in package:  # taken, but not without saying this
            if code != 0 or not set(package["mind"]) <= set(codes(document, "mind")):
                findings.append(f"{name}: exit {code}, halts {halts(document)}, minds {codes(document, 'mind')}; expected exit 0 "
                                f"and {package['mind']}")
            for said in package.get("says", []):
                if not any(said in r["text"] for r in document["reasons"]):
                    findings.append(f"{name}: nothing says {said!r}")
            return
        if code != 3 or halts(document) != package["code"]:
            findings.append(f"{name}: exit {code}, halts {halts(document)}; expected exit 3 and {package['code']}"
                            + (f"\n  {document['output']}" if "output" in document else ""))
        left = {k: v for k, v in shelf.content().items() if not k.endswith(".sqlite")}
        if left != {k: v for k, v in before.items() if not k.endswith(".sqlite")}:
            findings.append(f"{name}: left something behind: {sorted(set(left) ^ set(before))}")
        for climbed in ("outside.bin", "made/outside.bin"):
            if (at / climbed).exists():
                findings.append(f"{name}: wrote outside: {climbed}")


def check_whole(fettle, findings):
    """Whole packages by every program: the first is shelved, each other one must be found to be the same, byte for byte."""
    seen = 0
    with tempfile.TemporaryDirectory() as folder:
        at = Path(folder)
        (at / "home").mkdir()
        shelf = Shelf(fettle, at / "home")
        made = Package()
        made.listed("main/gr\u00f6\u00dfe.bin", "a name that is not ASCII")
        made.listed("main/" + "deep/" * 25 + "x" * 60, "a long path")
        made.listed("main/empty.bin", "")
        tree = made.build("folder", at)
        ways = {"zip": ["zip", "-q", "-r", "../a.zip", "."], "zip -0": ["zip", "-q", "-0", "-r", "../a0.zip", "."],
                "tar": ["tar", "-cf", "../a.tar", "."], "tar by names": ["tar", "-cf", "../b.tar", *os.listdir(tree)],
                "tar pax": ["tar", "--format=pax", "-cf", "../p.tar", "."], "tar gz": ["tar", "-czf", "../a.tgz", "."],
                "tar bz2": ["tar", "-cjf", "../a.tbz", "."], "tar xz": ["tar", "-cJf", "../a.txz", "."],
                "tar zst": ["tar", "--zstd", "-cf", "../a.tzst", "."], "bsdtar": ["bsdtar", "-cf", "../bsd.tar", "."],
                "bsdtar pax gz": ["bsdtar", "--format=pax", "-czf", "../bsd.tgz", "."],
                "bsdtar zip": ["bsdtar", "--format=zip", "-cf", "../bsd.zip", "."],
                "bsdtar 7z": ["bsdtar", "--format=7zip", "-cf", "../bsd.7z", "."],
                "7z": ["7z", "a", "-bd", "../a.7z", "."], "7z not solid": ["7z", "a", "-bd", "-ms=off", "../b.7z", "."],
                "7z bzip2": ["7z", "a", "-bd", "-m0=bzip2", "../c.7z", "."], "7z as zip": ["7z", "a", "-bd", "-tzip", "../d.zip", "."]}
        archives = {"folder": tree}
        for name, command in ways.items():
            program = shutil.which(command[0])
            if not program:
                print(f"skipped: {command[0]} is not installed")
                continue
            tool(*command, cwd=tree)
            archives[name] = tree / next(a for a in command if a.startswith("../"))
        for kind in WRITERS:
            (at / kind).mkdir()
            archives["own " + kind] = made.build(kind, at / kind)
        for name, path in archives.items():
            code, document = shelf.add(path)
            seen += 1
            if code != 0 or document["data"].get("was_there") != (name != "folder"):
                findings.append(f"whole package by {name}: exit {code}, {document['reasons']} {document['data'].get('was_there')}")
        for name in ("zip", "tar gz", "tar zst", "bsdtar", "7z", "own tar"):
            if name in archives:
                check_given_back(fettle, archives[name], tree, at / f"back-{name.replace(' ', '-')}", findings)
    return seen


def main():
    quick_disk.use()
    parser = argparse.ArgumentParser()
    parser.add_argument("fettle")
    parser.add_argument("--only", help="the one package of this name")
    parser.add_argument("--every", type=int, default=1, help="only every Nth, for a quick look")
    options = parser.parse_args()
    packages = tomllib.loads((HERE / "packages.toml").read_text())["package"]
    findings = []
    names = [p["name"] for p in packages]
    makers_folder = tempfile.TemporaryDirectory()
    makers = Makers(HERE.parent.parent / "families", Path(makers_folder.name))
    if len(set(names)) != len(names) or len(names) < LEAST_PACKAGES:
        findings.append(f"{len(names)} packages, at least {LEAST_PACKAGES} of different names were expected")
    for number, package in enumerate(packages):
        if options.only == package["name"] or (options.only is None and number % options.every == 0):
            check_hostile(Path(options.fettle).resolve(), package, makers, findings)
    whole = 0
    if options.only is None and options.every == 1:
        whole = check_whole(Path(options.fettle).resolve(), findings)
    for finding in findings:
        print(finding)
    print(f"{len(names)} hostile packages, {whole} whole ones, {len(findings)} findings")
    sys.exit(1 if findings else 0)


if __name__ == "__main__":
    main()
