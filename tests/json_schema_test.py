#!/usr/bin/python3
"""Holds what the program prints with --json to the schemas of docs/json/: every command is run on a small rehearsed job,
well and badly, and each document is validated (python3-jsonschema; JSON Schema draft 2020-12). A command without a
schema, a schema without a command, and a schema that no answer came by are failures; so is a schema that would not see a
member too many or one missing.

    tests/json_schema_test.py PROGRAM
"""

import copy
import json
import queue
import re
import sqlite3
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import jsonschema

SOURCE = Path(__file__).resolve().parent.parent
SCHEMAS = SOURCE / "docs/json"
sys.path.insert(0, str(SOURCE / "tools"))
import program  # noqa: E402
import quick_disk  # noqa: E402

SHARED = {"envelope", "shapes"}
ELSEWHERE = {"card-gauge"}  # needs a device that may be written all over: interop/card_device.py
PLATES = ["6104183C5", "6402207A4"]
FROM, TO = "27.1.110", "27.3.118"


class Schemas:
    def __init__(self):
        self.documents = {p.stem: json.loads(p.read_text()) for p in sorted(SCHEMAS.glob("*.json"))}
        store = {d["$id"]: d for d in self.documents.values()}
        self.validators = {}
        for name, document in self.documents.items():
            jsonschema.Draft202012Validator.check_schema(document)
            resolver = jsonschema.RefResolver(document["$id"], document, store=store)
            self.validators[name] = jsonschema.Draft202012Validator(document, resolver=resolver)

    def holds(self, name, value):
        return self.validators[name].is_valid(value)

    def complaints(self, name, value):
        out = []
        for error in self.validators[name].iter_errors(value):
            leaves = [error]
            while leaves:  # of alternatives, what is wrong with each
                e = leaves.pop()
                leaves += e.context or []
                if not e.context:
                    out.append(f"/{'/'.join(map(str, e.absolute_path))}: {e.message[:200]}")
        return out


class Run:
    def __init__(self, binary, folder):
        self.binary, self.folder, self.home = binary, folder, folder / "made/home"
        self.schemas = Schemas()
        self.answers, self.failures, self.findings = {}, {}, []

    def elsewhere(self, home):
        """The same, with another home; what it sees is counted here."""
        other = copy.copy(self)
        other.home = home
        return other

    def seen(self):
        return sum(map(len, [*self.answers.values(), *self.failures.values()]))

    def count_failures(self):
        return sum(map(len, self.failures.values()))

    def json(self, *words, exits=(0, 1)):
        """Runs one command, validates its document and gives its data."""
        done = program.run(self.binary, "--home", str(self.home), "--json", *map(str, words), cwd=self.folder)
        shown = "fettle " + " ".join(map(str, words))
        if done.returncode not in exits:
            self.findings.append(f"{shown}: exit {done.returncode}, one of {exits} was expected: {done.stderr.strip()}")
        try:
            document = json.loads(done.stdout)
        except ValueError as e:
            self.findings.append(f"{shown}: no JSON document: {e}")
            return {}
        self.findings += [f"{shown}: {c}" for c in self.schemas.complaints("envelope", document)]
        name = document["command"].replace(" ", "-")
        if "error" in document:
            self.failures.setdefault(name, []).append(document)
            kinds = {"usage": 2, "bad-input": 3, "outside": 4}
            if done.returncode != kinds[document["error"]["kind"]]:
                self.findings.append(f"{shown}: exit {done.returncode} for an error of kind {document['error']['kind']}")
            return {}
        self.answers.setdefault(name, []).append(document)
        if name not in self.schemas.validators:
            self.findings.append(f"{shown}: docs/json/{name}.json is missing")
        else:
            self.findings += [f"{shown}: data{c}" for c in self.schemas.complaints(name, document["data"])]
        worst = max((["fit", "mind", "cant-say", "halt"].index(r["verdict"]) for r in document["reasons"]), default=0)
        if document["verdict"] != ["fit", "mind", "cant-say", "halt"][worst]:
            self.findings.append(f"{shown}: the verdict {document['verdict']} is not the worst of its reasons")
        return document["data"]

    def fails(self, *words, exits=(2, 3, 4)):
        before = self.count_failures()
        self.json(*words, exits=exits)
        if self.count_failures() == before:
            self.findings.append(f"fettle {' '.join(map(str, words))}: no failure document")


def rehearse(t):
    t.json("rehearse", "--speed", 1000000, "--from", FROM, "--to", TO, "--out", "made")


def lore(t):
    file = SOURCE / "families/dunnock.toml"
    t.json("family", "list")
    t.json("family", "show", "dunnock")
    t.json("family", "check", file)
    (t.folder / "unseen").mkdir()
    (t.folder / "unseen/a.bin").write_bytes(b"a")
    t.json("family", "draft", t.folder / "unseen", "--plate", "6104183C5")
    t.json("family", "draft", t.folder / "unseen", "--plate", "6104183C5", "--id", "unseen", "--add")
    broken = t.folder / "broken.toml"
    broken.write_text('schema = 1\nid = "no blanks here"\nnonsense = 3\n')
    t.json("family", "check", broken, exits=(3,))
    loose = t.folder / "loose.toml"
    loose.write_text(re.sub(r"\n\[\[hold\]\]\n(?:(?!\n\[).)*", "\n", file.read_text(), count=1, flags=re.S))
    t.json("family", "sign", loose, "--by", "R. Marsh")
    t.json("family", "import", loose)
    t.json("family", "add", loose)
    t.json("family", "add", file)
    for plates in (PLATES, ["6104183C5", "61O4183C5"], ["61?4183C5"], ["61"], []):
        t.json("identify", *plates, "--view", f"{FROM} NS")
    # Check digits by 49 CFR 565 worked examples of the public: 1M8GDM9AXKP042788 (good), one digit off, and no VIN.
    for number in ("1M8GDM9AXKP042788", "1M8GDM9A1KP042788", "1M8GDM9AXKPO42788", "short"):
        t.json("vin", number)


def library(t, image):
    t.json("shelf", "list")
    t.json("shelf", "show", TO)
    package = t.folder / "made/packages" / FROM
    t.json("shelf", "add", package, "--from", "test", "--right", "own-work")
    t.json("shelf", "add", t.folder / "broken.toml", "--from", "test", "--right", "own-work", "--family", "dunnock",
           exits=(3,))
    spoilt = t.folder / "spoilt"
    subprocess.run(["cp", "-r", package, spoilt], check=True)
    largest = max((p for p in spoilt.rglob("*") if p.is_file()), key=lambda p: p.stat().st_size)
    largest.write_bytes(b"\0" + largest.read_bytes()[1:] + b"\0")
    t.json("shelf", "add", spoilt, "--from", "test", "--right", "own-work", exits=(3,))
    t.json("shelf", "list", "--refused")
    t.json("shelf", "list", *(word for plate in PLATES for word in ("--fits", plate)))
    t.json("shelf", "compare", FROM, TO)
    t.json("shelf", "compare", FROM, TO, "--all")
    t.json("shelf", "verify")
    t.json("shelf", "restore", TO, t.folder / "given-back")
    t.json("shelf", "verify", TO)
    other = t.elsewhere(t.folder / "other")
    other.json("shelf", "add", package, "--from", "test", "--right", "own-work")
    other.json("shelf", "remove", FROM)
    other.json("shelf", "tidy")
    t.json("card", "lay", TO, "--out", "new.img")
    t.json("card", "audit", image, "--release", TO)
    t.json("card", "audit", image)
    empty = t.folder / "empty.img"
    empty.write_bytes(bytes(1 << 20))
    t.json("card", "audit", empty)
    t.json("card", "devices")


def plans(t):
    view = ["--view", f"{FROM} NS"]
    both = [w for p in PLATES for w in ("--plate", p)]
    t.json("plan", *both, *view, "--to", TO, "--consent", "one-way", "--complaint", "Display stays dark")
    t.json("plan", *both, "--view", f"{TO} NS", "--to", TO)
    t.json("plan", "--plate", "61", *view)


def stand_in(t, image):
    """A virtual set to read from: where it listens is the first thing that it says."""
    t.json("stand-in", "--card", image, "--from", FROM, "--speed", 100000, "--listen", "127.0.0.1:0", "--answer-asks")
    t.json("stand-in", "--card", t.folder / "empty.img", "--from", FROM, "--speed", 100000, "--listen", "127.0.0.1:0",
           exits=(0, 1, 3, 4))
    words = [t.binary, "--home", t.home, "stand-in", "--card", image, "--from", FROM, "--speed", "100000", "--answer-asks",
             "--listen", "127.0.0.1:0", "--stay", "30", "--stored", "display:B1A4F-13:28"]
    server = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    try:
        lines = queue.Queue()
        threading.Thread(target=lambda: [lines.put(line) for line in server.stderr], daemon=True).start()
        at = re.search(r"doip://(\S+?);", lines.get(timeout=10))[1]
        t.json("link", "find", "--at", at)
        t.json("link", "read", "--at", f"doip://{at}", "--family", "dunnock")
        t.json("link", "faults", "--at", f"doip://{at}", "--record", t.folder / "faults.pcapng")
        t.json("link", "blank", t.folder / "faults.pcapng", "--out", t.folder / "blank.pcapng")
        t.json("link", "replay", t.folder / "blank.pcapng", "--listen", "127.0.0.1:0", "--stay", "0.01")
        facts(t, f"doip://{at}")
    finally:
        server.kill()
        server.wait()


def facts(t, at):
    """A run whose ask was skipped: read, cleared, mended in words."""
    job = t.json("job", "open", "--customer", "1008", *[w for p in PLATES for w in ("--plate", p)])["job"]
    t.json("identify", *PLATES, "--view", f"{FROM} NS", "--job", job)
    t.json("link", "read", "--at", at, "--job", job)
    t.json("faults", job, "--when", "before", "--typed", "none")
    t.json("plan", "--job", job, "--to", TO)
    t.json("watch", job, "--start", "--by", "R", "--against-halt", "--ago", 3000)
    t.json("mend", job)
    t.json("mend", job, "--power", "kept")
    t.json("mark", job, "asks", "--ago", 1000)
    t.json("mark", job, "skipped", "--ago", 900)
    t.json("mark", job, "broken-off", "--ago", 800)
    t.json("mend", job, "--power", "lost", "--now", "starts", "--shows", "Flux 77", "--supply", "holds")
    t.json("mend", job, "--tried", "same card", "--came", "nothing")
    t.json("link", "read", "--at", at, "--job", job)
    t.json("link", "faults", "--at", at, "--job", job)
    t.json("link", "clear", job, "main", "--at", at, "--allowed-by", "R. Moor")
    t.json("link", "clear", job, "display", "--at", at, "--allowed-by", "R. Moor")
    t.json("link", "faults", "--at", at, "--job", job, "--details")
    t.json("link", "erase", job, "--by", "R. Moor")
    t.json("job", "show", job)


def bench(t):
    job = t.json("job", "open", "--customer", "1007", "--vehicle", "Vellmoor estate", "--complaint", "Display stays dark",
                 "--vin", "1M8GDM9AXKP042788", "--housings", 2, "--keep", "B2: map card #17",
                 *[w for p in PLATES for w in ("--plate", p)])["job"]
    t.json("job", "keep", job, "a bracket")
    t.json("job", "return", job, 1, "--by", "R")
    t.json("job", "consent", job, "one-way", "--by", "R")
    t.json("job", "note", job, "battery tired")
    t.json("job", "note", job, "--correct", 1, "--field", "vehicle", "--value", "Vellmoor coupe", "--why", "slip", "--by", "R")
    t.json("identify", *PLATES, "--view", f"{FROM} NS", "--job", job)
    t.json("faults", job, "--when", "before", "--typed", "none")
    t.json("plan", "--job", job, "--to", TO)
    t.json("ready", "check", job)
    t.json("watch", job, "--start", "--by", "R")  # not begun: the points that stand
    t.json("ready", "answer", job, "supply.volts=13.5", "support=yes")
    t.json("ready", "placard", job, "--out", "before.svg")
    t.json("ready", "touch", job)
    samples = t.folder / "samples.csv"
    samples.write_text("1,13.4,2.1\n2,13.2,2.4\nno figure\n")
    t.json("ready", "supply", job, "--from", samples)
    for code in t.json("ready", "check", job)["standing"][:1]:
        t.json("ready", "accept", job, code, "--by", "R", "--reason", "test", exits=(0, 3))
    t.json("watch", job, "--start", "--by", "R", "--against-halt", "--svg", "strip.svg")
    t.json("ready", "placard", job, "--out", "now.pdf", "--by", "R")
    t.json("ready", "breach", job, "stick", "--says", "somebody took it out and put it back")
    samples.write_text("0.0,13.4,2.1\n0.1,9.1,2.4\n")
    t.json("ready", "guard", job, "--supply", samples, "--for", 0.5)
    t.json("mark", job, "dark")
    t.json("mark", job, "--tally", "landed=3,to_come=4")
    t.json("mark", job, "--shows", "Bitte warten")
    t.json("mark", job, "--undo")
    t.json("job", "show", job)
    t.json("watch", "--all", "--next", "bench2=22-28+3")
    t.json("job", "order")
    t.json("book", "promises")
    t.json("watch", job, "--test-call", "--quiet", "bell", "--quiet", "notice", "--quiet", "spoken")
    t.json("watch", job, "--attach", "--patience", 1)
    t.json("mark", job, "broken-off")
    t.json("watch", job)
    t.json("as-left", job, "--release", FROM)
    listed = t.folder / "list.txt"
    listed.write_text("main bootloader 1.0\n")
    t.json("as-left", job, "--typed", listed)
    t.json("faults", job, "--typed", "B1A4F-13:28 U1402-00")
    t.json("prove", job, "--tried", 1)
    t.json("faults", job, "--none-read")
    ends = [e["id"] for e in t.json("job", "loose-ends", job)["loose_ends"] if e["open"]]
    t.json("job", "loose-ends", job, "--settle", ends[0], "--how", "done", "--by", "R")
    for end in ends[1:]:
        t.json("job", "loose-ends", job, "--sign", end, "--by", "R", "--reason", "test")
    sheet = t.json("handover", "make", job, "--out", "sheet").get("file")
    if sheet:
        t.json("handover", "check", sheet)
        changed = t.folder / "changed.html"
        changed.write_text(Path(t.folder, sheet).read_text().replace("1007", "1008", 1))
        t.json("handover", "check", changed)
    t.json("handover", "check", t.folder / "list.txt")
    t.json("job", "list")
    rehearsed = t.json("job", "show", "0001X", "--entries")
    learnt = t.folder / "learnt.toml"
    learnt.write_text((SOURCE / "families/dunnock.toml").read_text())
    t.json("family", "learn", learnt, "--job", "0001X")
    t.json("family", "learn", learnt, "--job", "0001X", "--accept", "all", "--allowed-by", "R")
    if not rehearsed.get("job", {}).get("runs"):
        t.findings.append("the rehearsed job has no run")


def command_lines(t, paths):
    for path in paths:
        t.fails(*path, "--no-such-option", exits=(2,))
    t.fails(exits=(2,))
    t.fails("shelf", exits=(2,))


def failures(t):
    t.fails("job", "show", "0002X", exits=(2, 3))
    t.fails("family", "show", "nobody", exits=(3,))
    t.fails("family", "check", "nowhere.toml")
    t.fails("shelf", "show", "9.9", exits=(2, 3))
    t.fails("card", "audit", "nowhere.img")
    t.fails("card", "gauge", "nowhere", exits=(3,))
    t.fails("link", "read", "--at", "doip://127.0.0.1:9", "--family", "dunnock", exits=(4,))
    t.fails("handover", "check", "nowhere.html")
    # A broken record answers with what is broken.
    with sqlite3.connect(t.home / "book.sqlite") as book:
        book.execute("update entries set data = replace(data, '1007', '1008') where number = 1")
    t.json("job", "show", "0001X", exits=(3,))
    t.json("job", "list")


def strictness(t):
    """Each schema must see a member too many, and each one that its alternatives all need, missing."""
    for name, documents in t.answers.items():
        if name not in t.schemas.validators:
            continue
        schema = t.schemas.documents[name]
        forms = schema.get("oneOf", [schema])
        for data in {tuple(sorted(d["data"])): d["data"] for d in documents}.values():
            if t.schemas.holds(name, {**data, "not_told": 1}):
                t.findings.append(f"docs/json/{name}.json lets a member through that it does not tell of")
            for key in set.intersection(*(set(f["required"]) for f in forms)):
                if t.schemas.holds(name, {k: v for k, v in data.items() if k != key}):
                    t.findings.append(f"docs/json/{name}.json does not miss {key}")


def coverage(t, paths):
    names = {"-".join(path) for path in paths}
    told = set(t.schemas.documents) - SHARED
    for missing in SHARED - set(t.schemas.documents):
        t.findings.append(f"docs/json/{missing}.json is missing")
    t.findings += [f"docs/json/{n}.json is missing" for n in sorted(names - told)]
    t.findings += [f"docs/json/{n}.json is of no command" for n in sorted(told - names)]
    t.findings += [f"no answer of fettle {n} was validated" for n in sorted(names - set(t.answers) - ELSEWHERE)]
    t.findings += [f"no failure of fettle {n} was validated" for n in sorted(names - set(t.failures))]
    for name, schema in t.schemas.documents.items():
        unused = [n for n, form in enumerate(schema.get("oneOf", [])) if name not in SHARED and not any(
            t.schemas.validators[name].evolve(schema=form).is_valid(d["data"]) for d in t.answers.get(name, []))]
        t.findings += [f"docs/json/{name}.json: nothing came by its alternative {n + 1}" for n in unused]


def main():
    quick_disk.use()
    with tempfile.TemporaryDirectory() as folder:
        t = Run(str(Path(sys.argv[1]).resolve()), Path(folder))
        paths = program.command_paths(t.binary)
        # The rehearsal takes the longest; meanwhile what needs no rehearsed home.
        practice = threading.Thread(target=rehearse, args=(t.elsewhere(t.folder / "shop"),))
        practice.start()
        lore(t.elsewhere(t.folder / "lore"))
        command_lines(t.elsewhere(t.folder / "lore"), paths)
        practice.join()
        image = t.folder / f"made/card-{TO}.img"
        library(t, image)
        plans(t)
        stand_in(t, image)
        bench(t)
        failures(t)
        strictness(t)
        coverage(t, paths)
    for finding in dict.fromkeys(t.findings):
        print(finding)
    print(f"{t.seen()} documents of {len(t.answers)} commands validated, {len(t.findings)} findings")
    sys.exit(1 if t.findings or not t.seen() else 0)


main()
