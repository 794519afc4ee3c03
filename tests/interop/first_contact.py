#!/usr/bin/python3
"""First contact with packages whose indexes nobody here invented: formats by their published descriptions, digests by
Python's hashlib and zlib, an index that Debian's own archive shipped. What fettle family draft finds must be what stands
there, with its counts; the three example families, drafted, may hold nothing that their real files contradict.

    first_contact.py FETTLE MAKER
"""

import base64
import csv
import hashlib
import io
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
import zlib
from pathlib import Path

FETTLE, MAKER = sys.argv[1], sys.argv[2]
SOURCE = Path(__file__).resolve().parents[2]
checks = 0
rng = random.Random(6)


def expect(true, what, seen=""):
    global checks
    checks += 1
    if not true:
        sys.exit(f"first contact: expected {what}; saw:\n{seen}")


def fettle(*words, exits=0):
    done = subprocess.run([FETTLE, "--json", *map(str, words)], capture_output=True, text=True, timeout=60,
                          env={**os.environ, "HOME": str(folder)})
    expect(done.returncode == exits, f"exit {exits} of {words}", done.stdout + done.stderr)
    return json.loads(done.stdout)


def draft(*words):
    """The data of a draft; the file that it wrote loads without a mistake."""
    data = fettle("family", "draft", *words)["data"]
    file = folder / "drafted.toml"
    file.write_text(data["toml"])
    checked = fettle("family", "check", file)["data"]
    expect(checked["mistakes"] == [] and checked["level"] == data["level"], "a draft that loads", data["toml"])
    data["said"] = "\n".join(data["found"] + data["unknown"])
    data["file"] = tomllib.loads(data["toml"])
    return data


def says(data, *texts):
    for text in texts:
        expect(text in data["said"], repr(text), data["said"])


def files(at, names, size=3000):
    for name in names:
        path = at / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(rng.randbytes(size + rng.randrange(size)))


def fresh(name):
    at = folder / name
    at.mkdir(parents=True)
    return at


def data_of(at):
    return {str(p.relative_to(at)): p.read_bytes() for p in sorted(at.rglob("*")) if p.is_file()}


def deb():
    """deb(5), deb-md5sums(5): a package built and taken apart by dpkg-deb; the list is Debian's own form."""
    tree = fresh("tree-1.2-3")
    files(tree, [f"usr/lib/pelmet/part {i:02}.bin" for i in range(31)])
    listed = "".join(f"{hashlib.md5(d).hexdigest()}  {name}\n" for name, d in data_of(tree).items())
    (tree / "DEBIAN").mkdir()
    (tree / "DEBIAN/md5sums").write_text(listed)
    (tree / "DEBIAN/control").write_text("Package: pelmet\nVersion: 1.2-3\nArchitecture: all\nMaintainer: nobody <n@example.org>\n"
                                         "Description: made for a test\n")
    subprocess.run(["dpkg-deb", "-b", "-Znone", tree, folder / "made.deb"], check=True, capture_output=True)
    subprocess.run(["dpkg-deb", "-R", folder / "made.deb", folder / "pelmet-1.2-3"], check=True)
    says(draft(folder / "pelmet-1.2-3"), "DEBIAN/md5sums as digest-list, 31 of 31 records", "31 of 31 agree, MD5, hex")


def archive_list():
    """The list that a package of Debian's archive shipped, beside the files that it installed."""
    listed = Path("/var/lib/dpkg/info/coreutils.md5sums")
    if not listed.exists():
        return print("skipped: no installed package's md5sums here")
    at, kept = fresh("coreutils-installed"), []
    for line in listed.read_text().splitlines():
        digest, name = line.split("  ", 1)
        source = Path("/", name)
        if source.is_file() and len(kept) < 40:  # a machine may leave out manuals
            (at / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, at / name)
            kept.append(name)
    shutil.copyfile(listed, at / "md5sums")
    records = len(listed.read_text().splitlines())
    says(draft(at), f"{len(kept)} of {records} records", f"{len(kept)} of {len(kept)} agree, MD5, hex")


def source_package():
    """A source package's .dsc by Debian Policy 5.4 and 5.6.24: three lists over the same files."""
    at = fresh("pelmet_4.1")
    files(at, ["pelmet_4.1.orig.tar.xz", "pelmet_4.1-2.debian.tar.xz"])
    text = "Format: 3.0 (quilt)\nSource: pelmet\nVersion: 4.1-2\n"
    for title, kind in (("Checksums-Sha1", "sha1"), ("Checksums-Sha256", "sha256"), ("Files", "md5")):
        text += f"{title}:\n" + "".join(f" {hashlib.new(kind, d).hexdigest()} {len(d)} {n}\n" for n, d in data_of(at).items())
    (at / "pelmet_4.1-2.dsc").write_text(text)
    data = draft(at)
    says(data, "2 of 2 records", "sizes: 2 of 2 agree", "2 of 2 agree, SHA-256, hex")
    expect("2 of 2 agree in a sample, SHA-1, hex" in data["toml"] and "2 of 2 agree in a sample, MD5, hex" in data["toml"],
           "the second best readings as remarks", data["toml"])


def repository():
    """A repository's Packages with its pool (Debian Policy 5.3, Filename and SHA256 by the repository format)."""
    at = fresh("pool-5.0")
    files(at, [f"pool/p/piece{i}_5.{i}_all.deb" for i in range(9)])
    (at / "Packages").write_text("\n".join(
        f"Package: piece{i}\nVersion: 5.{i}\nFilename: {n}\nSize: {len(d)}\nSHA256: {hashlib.sha256(d).hexdigest()}\n"
        for i, (n, d) in enumerate(data_of(at).items())))
    says(draft(at), "Packages as stanzas, 9 of 9 records", "sizes: 9 of 9 agree", "9 of 9 agree, SHA-256, hex")


def wheel():
    """Binary distribution format (packaging.python.org): RECORD, a CSV without a head, digests in URL-safe base64."""
    made = folder / "pelmet-2.0-py3-none-any.whl.zip"
    with zipfile.ZipFile(made, "w") as z:
        rows = io.StringIO()
        table = csv.writer(rows, lineterminator="\n")
        for i in range(23):
            name, content = f"pelmet/part, {i}.py", rng.randbytes(900)
            z.writestr(name, content)
            digest = base64.urlsafe_b64encode(hashlib.sha256(content).digest()).rstrip(b"=").decode()
            table.writerow([name, "sha256=" + digest, len(content)])
        table.writerow(["pelmet-2.0.dist-info/RECORD", "", ""])
        z.writestr("pelmet-2.0.dist-info/RECORD", rows.getvalue())
    says(draft(made), "RECORD as csv, 23 of 24 records", "sizes: 23 of 23 agree", "23 of 23 agree, SHA-256, base64")


def lock():
    """A lock file of npm's third form with its tarballs: addresses that end in the file's name, Subresource Integrity."""
    at = fresh("locked")
    files(at, [f"part-{i}-1.{i}.0.tgz" for i in range(12)])
    packages = {"": {"name": "locked"}}
    for i, (name, d) in enumerate(data_of(at).items()):
        packages[f"node_modules/{name[:-4]}"] = {
            "version": f"1.{i}.0", "resolved": f"https://example.org/{name[:6]}/-/{name}",
            "integrity": "sha512-" + base64.b64encode(hashlib.sha512(d).digest()).decode()}
    (at / "package-lock.json").write_text(json.dumps({"lockfileVersion": 3, "packages": packages}, indent=1))
    says(draft(at), "12 of 13 records", "12 of 12 agree, SHA-512, base64")


def no_digests():
    """modules.dep by depmod(8): paths, no digests."""
    at = fresh("modules-6.1")
    files(at, [f"kernel/m{i}.ko" for i in range(20)])
    (at / "modules.dep").write_text("".join(f"kernel/m{i}.ko:{' kernel/m0.ko' * (i % 3)}\n" for i in range(20)))
    says(draft(at), "20 of 20 records", "digests: none")


def other_makings():
    """A digest over all but a header, and one for each block; CRC-32 by zlib."""
    ways = [("head", lambda d: f"{zlib.crc32(d[64:]):08x}", "CRC-32, hex, of the file without its first 64 bytes"),
            ("blocks", lambda d: " ".join(hashlib.sha1(d[i:i + 1024]).hexdigest() for i in range(0, len(d), 1024)),
             "SHA-1, hex, one for each 1024 bytes")]
    for name, digest, words in ways:
        at = fresh("made-by-" + name)
        files(at, [f"p{i}.bin" for i in range(25)])
        (at / "list.json").write_text(json.dumps([{"f": n, "d": digest(d)} for n, d in data_of(at).items()]))
        says(draft(at), "25 of 25 agree, " + words)


def bad():
    at = fresh("liar-1.0")
    files(at, [f"p{i}.bin" for i in range(62)])
    good = data_of(at)
    (at / "sums").write_text("".join(f"{hashlib.sha1(d + (b'x' if i % 2 else b'')).hexdigest()}  {n}\n"
                                     for i, (n, d) in enumerate(good.items())))
    says(draft(at), "31 of 62 agree, SHA-1, hex", "does not agree: p1.bin")
    (at / "other.csv").write_text("file,bytes\n" + "".join(f"{n},{len(d) + (i == 3)}\n" for i, (n, d) in enumerate(good.items())))
    says(draft(at), "disagrees:", "only 61 of 62 sizes", "does not agree: 26 more", "31 of 62 digests do not hold")

    at = fresh("two-tongues")  # each by itself holds in every sample but one file's
    files(at, [f"p{i:03}.bin" for i in range(400)])
    sums = {n: hashlib.sha256(d).hexdigest() for n, d in data_of(at).items()}
    (at / "one.json").write_text(json.dumps([{"f": n, "d": s} for n, s in sums.items()]))
    sums["p201.bin"] = "0" * 64
    (at / "two").write_text("".join(f"{s}  {n}\n" for n, s in sums.items()))
    says(draft(at), "give another SHA-256, hex for 1 of the 400 files that both name, p201.bin first")

    at = fresh("none")
    files(at, ["a.bin", "b.bin"])
    (at / "looks.txt").write_bytes(b"a.bin\n" + bytes(range(256)) * 40)
    data = draft(at, "--plate", "6104183C5")
    says(data, "no index recognised")
    expect(data["level"] == "L0" and "pieces = files, for now: 3 files" in data["toml"], "pieces = files", data["toml"])

    at = fresh("hostile-9.9")
    names = ['a"b.bin', "line\nend.bin", "turn\u202eed.bin", "back\\slash.bin", "#{x}.bin", "'''.bin"]
    files(at, names)
    (at / "i.json").write_text(json.dumps({"v": "9.9", "\n\"x": "9.9.1", "p": [
        {"n\n[boot]": n, "s": hashlib.sha256(d).hexdigest()} for n, d in data_of(at).items()]}))
    says(draft(at, "--plate", 'A"\\1', "--plate", "\x01", "--view", "x\n1.2"), "6 of 6 agree, SHA-256, hex")

    at = fresh("large")
    files(at, ["a.bin"])
    with open(at / "index.json", "wb") as f:
        f.write(b'[{"f": "a.bin"},\n')
        f.truncate(200 << 20)
    with open(at / "list.txt", "w") as f:
        for _ in range(33):
            f.write("a.bin 0123456789abcdef\n" * (1 << 16))
    says(draft(at), "no index recognised")
    expect("list.txt" in draft(at)["toml"] and "larger than the 32.0 MiB" in draft(at)["toml"], "the bound is said")

    fettle("family", "draft", folder / "nowhere", exits=3)
    fettle("family", "draft", at, "--id", 'A"', exits=2)
    (folder / "there.toml").write_text("kept")
    fettle("family", "draft", at, "--to", folder / "there.toml", exits=2)
    expect((folder / "there.toml").read_text() == "kept", "a file that is there stays")


def same_fields(family, made, real, texts, data):
    """Each text that the real pattern accepts, the drafted one accepts; each of its fields is one or more whole fields of
    the real pattern, and one that has a real field's name is that field."""
    drafted, true = re.compile(made["pattern"]), re.compile(real["pattern"])
    for text in texts:
        a, b = drafted.fullmatch(text), true.fullmatch(text)
        expect(a and b, f"{family}: {text} by both patterns", data["toml"])
        edges = {edge for name in b.groupdict() for edge in b.span(name)}
        for name in a.groupdict():
            expect(set(a.span(name)) <= edges, f"{family}: {name} of {text} begins and ends with fields of {real['pattern']}",
                   data["toml"])
            expect(name.startswith("part") or (name in b.groupdict() and a.span(name) == b.span(name)),
                   f"{family}: {name} of {text} is that of {real['pattern']}", data["toml"])
    if "check" in made:
        expect(made["check"]["method"] == real["check"]["method"], f"{family}: the method", data["toml"])
        covers = ["".join(m[f] for f in rule["over"]) for m, rule in ((a, made["check"]), (b, real["check"]))]
        expect(covers[0] == covers[1], f"{family}: the digits that are checked", data["toml"])


def labels():
    """From plates and views alone, more than one of a shape; and with the meanings that a technician would give."""
    real = {f: tomllib.loads((SOURCE / f"families/{f}.toml").read_text()) for f in ("dunnock", "brill", "pelm")}
    boxes = [(f, box["plate"]) for f in real for box in real[f]["box"]]
    plates = [e for _, plate in boxes for e in plate["examples"]]
    at = fresh("no-index")
    files(at, ["a.bin"])
    words = [w for p in plates for w in ("--plate", p)]
    for means in ((), ("--means", "main.part1=number", "--means", "main.part2=issue", "--means", "view.part1=market")):
        data = draft(at, *words, "--view", "27.1.110 NS", *means)
        expect(len(data["file"]["box"]) == 1 and "check" in data["file"]["box"][0]["plate"], "one shape, checked", data["toml"])
        for family, plate in boxes:
            made = dict(data["file"]["box"][0]["plate"])
            # "number" covers role and number of the real files: the technician's word, not the draft's.
            made["pattern"] = made["pattern"].replace("?P<number>", "?P<part1>")
            made["check"] = {**made["check"], "over": [o.replace("number", "part1") for o in made["check"]["over"]]}
            same_fields(family, made, plate, plate["examples"], data)
            # What the real rule refuses for its check character alone, the drafted one refuses; the family check tries it.
            wrong = [no for no in plate["counter_examples"] if re.fullmatch(plate["pattern"], no) and no not in plates]
            expect(wrong, f"{family}: a plate with a wrong check character", plate)
            before, after = data["toml"].split("examples = [", 1)
            for counter, bad in ((wrong, False), (wrong + plates[:1], True)):
                (folder / "drafted.toml").write_text(f"{before}counter_examples = {json.dumps(counter)}\nexamples = [{after}")
                done = subprocess.run([FETTLE, "--json", "family", "check", folder / "drafted.toml"], capture_output=True,
                                      text=True, timeout=60, env={**os.environ, "HOME": str(folder)})
                mistakes = json.loads(done.stdout)["data"]["mistakes"]
                expect(bool(mistakes) == bad, f"{counter} refused: {not bad}", done.stdout)
        for family, file in real.items():
            same_fields(family, data["file"]["view"], file["view"], file["view"]["examples"], data)


def examples():
    """Drafted from two packages, a plate and a view: each value is that of the real file, or a line above says unknown."""
    for family, releases, plate, view in (("dunnock", ("27.1.110", "27.3.118"), "6104183C5", "27.1.110 NS"),
                                          ("brill", ("26.4.088", "27.2.031"), "5201176B5", "26.4.088 NS"),
                                          ("pelm", ("27.1.052", "27.2.064"), "7301442D0", "26.3.017 OV")):
        real_file = SOURCE / f"families/{family}.toml"
        for release in releases:
            subprocess.run([MAKER, f"--folder={folder}/{family}-{release}", f"--release={release}", "--size=9000",
                            f"--family={real_file}"], check=True, capture_output=True)
        data = draft(*(folder / f"{family}-{r}" for r in releases), "--plate", plate, "--view", view)
        if signed := tomllib.loads(real_file.read_text())["package"].get("signature"):
            says(data, f"not in it: {signed['file']} (")
        made, real = data["file"], tomllib.loads(real_file.read_text())
        expect(data["level"] == "L1" and made["family"]["id"] == family, f"{family} at L1", data["toml"])
        for key in ("index", "form", "digest"):
            expect(made["package"].get(key) == real["package"].get(key), f"{family}: {key}", data["toml"])
        right = 0
        for table in ("release", "piece"):
            for key, value in made["package"].get(table, {}).items():
                expect(real["package"][table].get(key) == value, f"{family}: {table}.{key} is {real['package'][table]}", data["toml"])
                right += 1
        expect(right >= (1 if real["package"]["form"] == "digest-list" else 7), "as many mapped as can be", data["toml"])
        lines = data["toml"].splitlines()
        for guessed in ("always", "path_pattern"):
            at = next((i for i, line in enumerate(lines) if line.startswith(guessed)), None)
            if at is not None:
                above = "".join(lines[max(0, at - 6):at])
                expect("# unknown" in above, f"{guessed} marked unknown", data["toml"])
        known = {"family": {"id", "marque", "words", "level"}, "box": None, "view": None, "package": None}
        expect(set(made) <= set(known) and set(made["family"]) <= known["family"], "nothing beyond what was seen", data["toml"])
        for name in ("marque", "words"):
            expect(made["family"][name] == "unknown", name, data["toml"])
        expect(made["view"]["likely"] == ["release"] and made["view"]["examples"] == [view], "the view", data["toml"])
        same_fields(family, made["view"], real["view"], real["view"]["examples"], data)
        same_fields(family, made["box"][0]["plate"], real["box"][0]["plate"], [plate], data)


with tempfile.TemporaryDirectory(prefix="first-contact-") as made_folder:
    folder = Path(made_folder)
    for part in (deb, archive_list, source_package, repository, wheel, lock, no_digests, other_makings, bad, labels, examples):
        part()
print(f"{checks} passed, 0 failed")
