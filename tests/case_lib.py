"""What case files may use in their expressions: values made at random, and answers computed here and not by the
program under test. Every computation is written from its published source, named beside it."""

import contextlib
import datetime
import hashlib
import html
import json
import math
import os
import random
import re
import shutil
import socket
import sqlite3
import subprocess
import tempfile
import threading
import time
import tomllib
import zipfile
import zlib
from pathlib import Path

# --- check characters and numbers -------------------------------------------------------------------------------------


def mod11_2(digits):
    """ISO/IEC 7064:2003 MOD 11-2, pure system, radix 2: recursive method of its clause 7."""
    p = 0
    for digit in digits:
        p = (p + int(digit)) * 2 % 11
    return "0123456789X"[(12 - p) % 11]


# 49 CFR 565.15 (c): values of letters (table III), weights by position (table IV), remainder 10 is X.
VIN_VALUES = {c: int(v) for c, v in zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789")} | {
    str(d): d for d in range(10)
}
VIN_WEIGHTS = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2]


def vin_sum(vin):
    return sum(VIN_VALUES[c] * w for c, w in zip(vin, VIN_WEIGHTS))


def vin_check(vin):
    """The character that position 9 must have."""
    return "0123456789X"[vin_sum(vin) % 11]


def with_vin_check(vin):
    return vin[:8] + vin_check(vin[:8] + "0" + vin[9:]) + vin[9:]


def version_key(text):
    """Numeric order of dotted numbers, as the example family declares it."""
    return tuple(int(part) for part in text.split("."))


def digest(kind, data):
    return f"{zlib.crc32(data):08x}" if kind == "crc32" else hashlib.new(kind, data).hexdigest()


def sha256(data):
    return hashlib.sha256(data if isinstance(data, bytes) else data.encode()).hexdigest()


def reason_text(doc, code):
    """The texts of all reasons of that code."""
    return " ".join(r["text"] for r in doc["reasons"] if r["code"] == code)


def card_split(sizes, each_bytes, cluster):
    """Which card each file stands on, by the rule of docs/card.md, "Several cards in turn"."""
    cards, used, out = 1, 0, []
    for size in sizes:
        takes = -(-size // cluster) * cluster
        if used + takes > each_bytes - each_bytes // 16:
            cards, used = cards + 1, 0
        used += takes
        out.append(cards)
    return out


# --- look-alikes (common practice, no source: characters that people confuse on labels and screens) ---------------------

LIKE_DIGIT = {"0": "OQD", "1": "IL", "2": "Z", "5": "S", "6": "G", "8": "B"}
LIKE_LETTER = {letter: digit for digit, letters in LIKE_DIGIT.items() for letter in letters}


class Case:
    """One run of one case: its random source, its folder, and the helpers bound to both."""

    def __init__(self, seed, folder, tools):
        self.rng = random.Random(seed)
        self.folder = Path(folder)
        self.tools = tools
        self.call = None  # runs fettle in this case's folder and home

    def names(self):
        """The names that expressions see."""
        own = {n: getattr(self, n) for n in dir(self) if not n.startswith("_") and n not in ("names", "folder", "tools", "call")}
        return own | {
            "mod11_2": mod11_2, "vin_check": vin_check, "vin_sum": vin_sum, "with_vin_check": with_vin_check,
            "version_key": version_key, "sha256": sha256, "digest": digest, "sealed": sealed,
            "reason_text": reason_text, "card_split": card_split, "ed25519_holds": ed25519_holds, "json": json, "re": re, "Path": Path, "pointer": pointer,
        }

    # random values

    def digits(self, n):
        return "".join(self.rng.choice("0123456789") for _ in range(n))

    def plate(self, role, issue=None):
        """A plate of the example world: role, five digits, issue letter, check character over the seven digits."""
        number = role + self.digits(5)
        return number + (issue or self.rng.choice("ABCDEFGH")) + mod11_2(number)

    def smudge(self, text, n=1, at=None):
        """The text with n of its digits typed as look-alike letters; `at` limits the positions (default: the first
        seven, the digits of a plate)."""
        spots = [i for i in (at if at is not None else range(min(7, len(text)))) if text[i] in LIKE_DIGIT]
        if len(spots) < n:
            raise Retry(f"{text} has fewer than {n} digits with look-alikes")
        out = list(text)
        for i in self.rng.sample(spots, n):
            out[i] = self.rng.choice(LIKE_DIGIT[out[i]])
        return "".join(out)

    def vin(self, avoid=""):
        """17 characters with a right check digit; `avoid` are characters that must not occur."""
        letters = [c for c in VIN_VALUES if c not in avoid]
        return with_vin_check("ZZ9" + "".join(self.rng.choice(letters) for _ in range(14)))

    def smudge_vin(self, vin):
        """One 0 or 1 typed as a letter that ISO 3779 excludes."""
        spots = [i for i, c in enumerate(vin) if c in "01"]
        if not spots:
            raise Retry(f"{vin} has neither 0 nor 1")
        i = self.rng.choice(spots)
        return vin[:i] + self.rng.choice("OQ" if vin[i] == "0" else "I") + vin[i + 1:]

    def pick(self, *choices):
        return self.rng.choice(choices)

    def number(self, low, high):
        return self.rng.randint(low, high)

    def word(self, letters=6):
        return "".join(self.rng.choice("abcdefghijklmnopqrstuvwxyz") for _ in range(letters))

    def wrong_digit(self, text, at):
        return text[:at] + self.rng.choice([d for d in "0123456789" if d != text[at]]) + text[at + 1:]

    # files

    def work(self):
        return self.folder

    def read(self, path):
        return (self.folder / path).read_bytes()

    def part(self, path, at, length):
        with open(self.folder / path, "rb") as f:
            f.seek(at)
            return f.read(length)

    def pasted(self, line):
        """What a line prints that somebody pastes into bash in this folder."""
        return subprocess.run(["bash", "-c", line], cwd=self.folder, capture_output=True, text=True, check=True, timeout=60).stdout

    def same(self, path, other):
        """Equal byte by byte; by cmp, which is quick on large images."""
        return subprocess.run(["cmp", "-s", self.folder / path, self.folder / other], check=False).returncode == 0

    def write(self, path, content):
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def pipe(self, path):
        """A named pipe that nobody writes to."""
        os.mkfifo(self.folder / path)

    def database(self, path, *statements):
        """A SQLite file made by these statements, which no Fettle made."""
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.closing(sqlite3.connect(target)) as db:
            for statement in statements:
                db.execute(statement)
            db.commit()

    def edit(self, path, old, new):
        """Replaces exactly one occurrence."""
        text = self.read(path).decode()
        if text.count(old) != 1:
            raise ValueError(f"{path} holds {text.count(old)} times {old!r}, not once")
        return self.write(path, text.replace(old, new))

    def source(self, path, to=None):
        """Copies a file of the project (families/dunnock.toml …) into the case's folder."""
        return self.write(to or Path(path).name, (self.tools.source / path).read_bytes())

    def flip(self, path, at=None, crc_too=False):
        """Changes one byte; the position, or a random one."""
        data = bytearray(self.read(path))
        i = self.rng.randrange(len(data)) if at is None else at
        data[i] ^= self.rng.randint(1, 255)
        self.write(path, bytes(data))
        return i

    def cut(self, path, to):
        """Keeps the first `to` bytes (a fraction below 1 is a part of the length)."""
        os.truncate(self.folder / path, int(self.size(path) * to) if to < 1 else to)

    def zip(self, folder, path):
        """An archive of the folder's content, its own names at the top."""
        base = self.folder / folder
        with zipfile.ZipFile(self.folder / path, "w", zipfile.ZIP_DEFLATED) as z:
            for file in sorted(base.rglob("*")):
                if file.is_file():
                    z.write(file, file.relative_to(base))
        return path

    def files(self, path):
        base = self.folder / path
        return sorted(str(f.relative_to(base)) for f in base.rglob("*") if f.is_file())

    def free_port(self):
        """A UDP port of the loopback interface that nobody has just now."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
            s.bind(("127.0.0.1", 0))
            return s.getsockname()[1]

    def send_udp(self, port, hexed, times=20):
        """To the loopback interface, again and again for over a second: who listens may still be starting."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
            for _ in range(times):
                s.sendto(bytes.fromhex(hexed), ("127.0.0.1", port))
                time.sleep(1.4 / times)

    def size(self, path):
        return (self.folder / path).stat().st_size

    def remove(self, path):
        target = self.folder / path
        shutil.rmtree(target) if target.is_dir() else target.unlink()

    def move(self, path, to):
        target = self.folder / to
        target.parent.mkdir(parents=True, exist_ok=True)
        (self.folder / path).rename(target)

    # packages

    def package(self, to, release="27.3.118", **options):
        """A whole signed package made by the stand-in's maker (made once, then copied)."""
        made = self.tools.package(release=release, **options)
        shutil.copytree(made, self.folder / to)
        return to

    def shelve(self, *releases, right="maker-portal", index_only=False, **options):
        """Puts releases of the example history on the shelf of this case's home."""
        for release in releases:
            made = self.tools.package(release=release, **options)
            self.call("shelf", "add", made, "--from", "the maker's portal", "--right", right,
                      *(["--index-only"] if index_only else []))

    def pieces(self, release, issue="C", **options):
        """(box, name) → piece of a made package, as the package's own index has it: those that apply to boxes of this
        issue, or all (None)."""
        index = json.loads((self.tools.package(release=release, **options) / "release.json").read_bytes())
        return {(p["box"], p["name"]): p for p in index["pieces"] if issue is None or issue in (p.get("issues") or [issue])}

    def changed(self, before, after, issue="C", **options):
        """Names of the pieces that differ between two releases, or are new: those that have to be written."""
        old, new = (self.pieces(r, issue, **options) for r in (before, after))
        return {k for k, p in new.items() if k not in old or (old[k]["version"], old[k]["sha256"]) != (p["version"], p["sha256"])}

    def job_ready(self, main, display, market, **options):
        """A job with its plan from 27.1.110 to 27.3.118, its card laid and audited, everything answered: ready to start.
        Returns its number. Made once for the same plates, then copied with its whole home."""
        return self._made_once(("ready", main, display, market, repr(options)),
                               lambda: self._job_ready(main, display, market, **options))

    def _made_once(self, key, make):
        """What `make` does to an empty home and work folder, done by the first case of a run that asks for it."""
        home = self.folder.parent / "home"
        if any(home.iterdir()) or any(self.folder.iterdir()):
            return make()
        if key in self.tools.made:
            job, kept = self.tools.made[key]
            for name, to in (("home", home), ("work", self.folder)):
                subprocess.run(["cp", "-a", "--sparse=always", f"{kept}/{name}/.", to], check=True)
            return job
        job = make()
        kept = Path(tempfile.mkdtemp(dir=self.tools.keeps))
        for name, of in (("home", home), ("work", self.folder)):
            subprocess.run(["cp", "-a", "--sparse=always", of, kept / name], check=True)
        self.tools.made.setdefault(key, (job, kept))
        return job

    def _job_ready(self, main, display, market, **options):
        job = self._job_planned(main, display, market, "bench", **options)
        self.call("card", "lay", "27.3.118", "--out", f"{job}.img", "--job", job)
        self.call("card", "audit", f"{job}.img", "--release", "27.3.118", "--job", job)
        self.call("ready", "answer", job, *self.answers())
        return job

    def answers(self):
        """What a technician says before a start on the bench, all of it good."""
        return ["knob=answers", "support=yes", "supply.volts=13.5", "supply.limit=10", "supply.lead_m=2",
                "supply.lead_mm2=2.5", "supply.fused=yes", "slots=empty", "holds=yes", "person=yes", "call=staying"]

    def words_of(self, path):
        """The words of an HTML page, without tags, styles and pictures."""
        text = re.sub(r"(?s)<style.*?</style>|<svg.*?</svg>", "", self.read(path).decode())
        return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", " ", text)))

    def chain_end(self, job):
        """Digest of the job's last entry, computed from what the book's file holds, as docs/journal.md says."""
        copy = Path(tempfile.mkdtemp(dir=self.folder.parent))  # looked at apart: opening it leaves files beside it
        for file in (self.folder.parent / "home/.local/share/fettle").glob("book.sqlite*"):
            shutil.copy(file, copy)
        db = sqlite3.connect(copy / "book.sqlite")
        previous = "0" * 64
        for number, at, kind, data in db.execute(
                "select number, at, type, data from entries where job = ? order by number", (job,)):
            when = datetime.datetime.fromtimestamp(at / 1000, datetime.timezone.utc) if isinstance(at, int) else at
            at = when if isinstance(when, str) else when.isoformat(timespec="milliseconds")
            previous = sha256(f"fettle-entry 1\njob {job}\nnumber {number}\nat {at}\ntype {kind}\nprevious {previous}\n"
                              f"data {len(data.encode())}\n\n{data}")
        db.close()
        return previous

    def old_journal(self, name):
        """Puts a job of tests/data/journals (one entry a line, as an earlier program wrote it) into the case's book,
        which must be there; its chain is made here, as docs/journal.md says. The job's number."""
        lines = [json.loads(line) for line in (self.tools.source / "tests/data/journals" / name).read_text().splitlines()]
        job, previous, rows = lines[0]["job"], "0" * 64, []
        for number, entry in enumerate(lines, 1):
            at = datetime.datetime.fromtimestamp(entry["at"] / 1000, datetime.timezone.utc).isoformat(timespec="milliseconds")
            digest_ = sha256(f"fettle-entry 1\njob {job}\nnumber {number}\nat {at}\ntype {entry['type']}\n"
                             f"previous {previous}\ndata {len(entry['data'].encode())}\n\n{entry['data']}")
            rows.append((job, number, entry["at"], entry["type"], entry["data"], previous, digest_))
            previous = digest_
        db = sqlite3.connect(self.folder.parent / "home/.local/share/fettle/book.sqlite")
        with db:
            db.execute("insert into jobs (job, opened_at, entries, head) values (?, ?, ?, ?)",
                       (job, lines[0]["at"], len(rows), previous))
            db.executemany("insert into entries values (?, ?, ?, ?, ?, ?, ?)", rows)
        db.close()
        return job

    def messages(self):
        """What the example family's box may show, from the family file itself."""
        return tomllib.loads((self.tools.source / "families/dunnock.toml").read_text())["message"]

    def region(self, box, name, family="dunnock"):
        """A region of an example family, from the family file itself."""
        regions = tomllib.loads((self.tools.source / f"families/{family}.toml").read_text())["region"]
        return next(r for r in regions if r["box"] == box and r["name"] == name)

    def binomial(self, n, seen, share):
        """Chance that of n as many as one of `seen` come, each with that share."""
        return sum(math.comb(n, k) * share**k * (1 - share)**(n - k) for k in seen)

    def message(self, text=None):
        return self.rng.choice([m for m in self.messages() if text in (None, m["text"])])

    def supply_peer(self, volts="13.48", amps="2.3", setting="13.5", limit="10", output="1", rude=None):
        """A bench supply that answers SCPI on a loopback port (IEEE 488.2 lines, SCPI-99 headers), until the case ends.
        `rude` is a text that it answers to everything instead; "" stays silent, "close" hangs up. Its port; what it was
        sent is in self.supply_heard."""
        self.supply_heard = []
        answers = {"MEAS:VOLT?": volts, "MEAS:CURR?": amps, "VOLT?": setting, "CURR?": limit, "OUTP?": output,
                   "*IDN?": "Saltmarsh Bench,Feeder 30,0,1.4", "SYST:ERR?": '0,"No error"'}
        listener = socket.create_server(("127.0.0.1", 0))

        def serve(line):
            with contextlib.suppress(OSError), line, line.makefile("rb") as lines:
                for question in lines:
                    word = question.decode("latin-1").strip()
                    self.supply_heard.append(word)
                    if rude == "close":
                        return
                    answer = answers.get(word, "") + "\n" if rude is None else rude
                    line.sendall(answer.encode())

        def wait():
            while True:
                try:
                    line, _ = listener.accept()
                except OSError:
                    return
                threading.Thread(target=serve, args=(line,), daemon=True).start()

        threading.Thread(target=wait, daemon=True).start()
        return listener.getsockname()[1]

    def doip_box(self, answers, address=0x1041, hang_after=None):
        """A box that answers DoIP on a loopback port (ISO 13400-2: 02 FD, payload types 0005/0006, 8001/8002), until the
        case ends. `answers`: request in hex to answer in hex, or to a list of answers, the last of which stays; None or
        not there: silence after the acknowledgement; "nack": negative response code 31. Its port; what it was asked is
        in self.doip_heard, and `answers` may be changed while it runs."""
        self.doip_heard = []
        listener = socket.create_server(("127.0.0.1", 0))

        def frame(kind, payload):
            return b"\x02\xfd" + kind.to_bytes(2, "big") + len(payload).to_bytes(4, "big") + payload

        def serve(line):
            with contextlib.suppress(OSError, ValueError), line, line.makefile("rb") as data:
                while head := data.read(8):
                    kind, body = int.from_bytes(head[2:4], "big"), data.read(int.from_bytes(head[4:8], "big"))
                    here = address.to_bytes(2, "big")
                    if kind == 0x0005:
                        line.sendall(frame(0x0006, body[:2] + here + b"\x10" + bytes(4)))
                    if kind != 0x8001:
                        continue
                    tester, target, asked = body[:2], body[2:4], body[4:].hex()
                    self.doip_heard.append(asked)
                    if target != here:
                        line.sendall(frame(0x8003, target + tester + b"\x03"))
                        continue
                    line.sendall(frame(0x8002, target + tester + b"\x00"))
                    answer = answers.get(asked)
                    if isinstance(answer, list):
                        answer = answer.pop(0) if len(answer) > 1 else answer[0]
                    if answer == "nack":
                        answer = "7f" + asked[:2] + "31"
                    if answer == "close":
                        return
                    if answer:
                        line.sendall(frame(0x8001, target + tester + bytes.fromhex(answer)))

        def wait():
            while True:
                try:
                    line, _ = listener.accept()
                except OSError:
                    return
                threading.Thread(target=serve, args=(line,), daemon=True).start()

        threading.Thread(target=wait, daemon=True).start()
        return listener.getsockname()[1]

    def doip_asked(self):
        return list(self.doip_heard)

    def dtc_hex(self, code):
        """Letters of SAE J2012: bits 7-6 of the first byte are P C B U, 5-4 the first digit; the rest is hexadecimal."""
        return f"{'PCBU'.index(code[0]) << 2 | int(code[1]):x}{code[2:5]}{code[6:8]}".lower()

    def fault_code(self, letters="PCB"):
        """A code with failure type 13 that no example family lists."""
        return f"{self.rng.choice(letters)}3{self.rng.randrange(0x1000):03X}-13"

    def job_ran(self, family, plates, start, to, marks=(), tally="", market="NS", ago=None, **options):
        """A job whose run to `to` was begun so many seconds ago against everything, with marks (event, seconds after the
        start), and ended where they say so; by default five minutes after the last of them. Plans need only the releases'
        indexes. Its number. A long run takes its time at each mark: where the times do not matter keep them short."""
        ago = ago or max((at for _, at in marks), default=3600) + 300
        self.shelve(start, to, family=family, index_only=True, **options)
        job = json.loads(self.call("job", "open", "--customer", "1007", *sum((["--plate", p] for p in plates), []),
                                   "--json"))["data"]["job"]
        either = (0, 1)
        self.call("identify", *plates, "--view", f"{start} {market}", "--job", job, "--family", family, ok=either)
        self.call("job", "consent", job, "one-way", "--by", "1007")
        self.call("plan", "--job", job, "--to", to, ok=either)
        self.call("faults", job, "--when", "before", "--typed", "none", ok=either)
        self.call("watch", job, "--start", "--by", "R. Moor", "--once", "--against-halt", "--ago", str(ago), ok=either)
        for event, at in marks:
            if event == "ended" and tally:
                self.call("mark", job, "--tally", tally, "--ago", str(ago - at), ok=either)
            self.call("mark", job, event, "--ago", str(ago - at), ok=either)
        return job

    def stranger(self, to, release, family="wren", pieces=5, fields=("part", "file", "bytes", "sum"), sure=True):
        """A package of a family that nobody has described: pieces in a folder, and an index in JSON whose members have
        the given names. sure: the folder's name holds the release, as packages do that people collect."""
        at = Path(self.folder) / to
        listed = []
        for i in range(pieces):
            content = self.rng.randbytes(20000 + self.rng.randrange(20000))
            path = f"data/{self.word(4)}{i}.bin"
            (at / "data").mkdir(parents=True, exist_ok=True)
            (at / path).write_bytes(content)
            name, where, size, sum_ = fields
            listed.append({name: f"piece {i}", where: path, size: len(content), sum_: sha256(content)})
        (at / "manifest.json").write_text(json.dumps({"bundle": family, "version": release, "contents": listed}, indent=1))
        return to

    def job_marked(self, job, ago, *marks, tally="", by="R. Moor", step=0):
        """A run of the job that was begun so many seconds ago, against everything, with marks (words, seconds after the
        start): ("dark", 60), ("answered --with touch", 230)."""
        either = (0, 1)
        self.call("watch", job, "--start", "--by", by, "--once", "--against-halt", "--ago", str(ago),
                  *(["--step", str(step)] if step else []), ok=either)
        for words, at in marks:
            if words == "ended" and tally:
                self.call("mark", job, "--tally", tally, "--ago", str(ago - at), ok=either)
            self.call("mark", job, *words.split(" "), "--ago", str(ago - at), ok=either)

    def pause(self, seconds):
        """So that two marks do not fall on one instant."""
        time.sleep(seconds)

    def sign_all(self, job, by="R. Moor"):
        """Every loose end that is open gets signed for."""
        ends = json.loads(self.call("job", "show", job, "--json", ok=(0, 1)))["data"]["job"]["loose_ends"]
        for end in ends:
            if not end["settled"]:
                self.call("job", "loose-ends", job, "--sign", end["id"], "--reason", "seen", "--by", by)

    def family_with(self, name, *changes):
        """A family file made of the example one: (old, new) texts exchanged, each standing there once; put into use in
        this case's home. Returns its path."""
        text = (self.tools.source / "families/dunnock.toml").read_text()
        for old, new in changes:
            if text.count(old) != 1:
                raise ValueError(f"{text.count(old)} times {old!r}, not once")
            text = text.replace(old, new)
        self.write(name, text)
        self.call("family", "add", name, "--accept-loosening-by", "R. Moor")
        return name

    def job_planned(self, main, display, market="NS", place="bench", **options):
        """A job with its plan from 27.1.110 to 27.3.118, nothing answered and no card laid. Returns its number.
        Made once for the same plates, then copied with its whole home."""
        return self._made_once(("planned", main, display, market, place, repr(options)),
                               lambda: self._job_planned(main, display, market, place, **options))

    def _job_planned(self, main, display, market, place, **options):
        self._made_once(("shelf", repr(options)), lambda: self.shelve("27.1.110", "27.3.118", **options))
        job = json.loads(self.call("job", "open", "--customer", "1007", "--housings", "2", "--place", place, "--plate",
                                   main, "--plate", display, "--json"))["data"]["job"]
        self.call("identify", main, display, "--view", f"27.1.110 {market}", "--job", job)
        self.call("plan", "--job", job, "--to", "27.3.118")
        return job

    def free_port(self):
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            return s.getsockname()[1]

    def fat_partition(self, image):
        """Copies the first partition out of a card image; its path."""
        with open(self.folder / image, "rb") as f:
            entry = f.read(512)[446:462]
            f.seek(512 * int.from_bytes(entry[8:12], "little"))
            left, to = 512 * int.from_bytes(entry[12:16], "little"), image + ".part"
            with open(self.folder / to, "wb") as out:
                while block := f.read(min(left, 1 << 20)):
                    out.seek(len(block), 1) if not any(block) else out.write(block)
                    left -= len(block)
                out.truncate()
        return to

    def instants(self, job, home):
        """(type, event or empty, seconds since the first run's start) of each entry of a job in another home."""
        shown = json.loads(self.call("--home", home, "job", "show", job, "--entries", "--json"))
        seen = [(e["type"], json.loads(e["data"]).get("event", ""), datetime.datetime.fromisoformat(e["at"]))
                for e in shown["data"]["entries"]]
        start = next(at for kind, _, at in seen if kind == "started")
        return [(kind, event, (at - start).total_seconds()) for kind, event, at in seen]

    def piece_file(self, package, role=None):
        """Path of one piece's file in a package, at random."""
        index = json.loads(self.read(f"{package}/release.json"))
        return f"{package}/" + self.rng.choice([p["file"] for p in index["pieces"] if role in (None, p["box"])])


    def reindex(self, package, change):
        """Applies a function to the package's index and signs it again, as the example maker would."""
        index = json.loads(self.read(f"{package}/release.json"))
        change(index)
        text = json.dumps(index, indent=2).encode() + b"\n"
        self.write(f"{package}/release.json", text)
        self.write(f"{package}/release.sig", ed25519_sign(EXAMPLE_SEED, text))

    # cards, made by tools that nobody here wrote (dosfstools, mtools, fdisk, exfatprogs)

    def card(self, image, folder, under="", size_mb=512, cluster_kb=4, kind="c"):
        """An MBR with one FAT32 partition at sector 2048 that holds the folder's content, below `under` if given."""
        path = self.folder / image
        with open(path, "wb") as f:
            f.truncate(size_mb << 20)
        run_tool(["sfdisk", "-q", path], f"2048,,{kind}\n")
        run_tool(["mkfs.fat", "-F", "32", "-s", str(2 * cluster_kb), "-h", "2048", "-n", "DUNNOCK", "--offset=2048", path,
                  str((size_mb << 10) - 1024)])
        if under:
            run_tool(["mmd", "-i", f"{path}@@1M", f"::/{under}"])
        run_tool(["mcopy", "-s", "-Q", "-i", f"{path}@@1M", *sorted((self.folder / folder).iterdir()), f"::/{under}"])
        return image

    def fat32(self, image, sectors, start, reserved, per_cluster, label, data_sectors=None):
        """An empty card of so many sectors (or with so many in its data area) with one FAT32 partition. Its number of
        clusters by the FAT specification, "FAT Type Determination", from the figures that mkfs.fat wrote."""
        path = self.folder / image
        if data_sectors is not None:  # mkfs.fat makes the FATs just long enough
            sectors = start + reserved + 2 * (-(-(data_sectors // per_cluster + 2) * 4 // 512)) + data_sectors
        with open(path, "wb") as f:
            f.truncate(sectors * 512)
        run_tool(["sfdisk", "-q", path], f"start={start}, size={sectors - start}, type=c\n")
        with open(self.folder / "volume", "wb") as f:
            f.truncate((sectors - start) * 512)
        run_tool(["mkfs.fat", "-F", "32", "-a", "-R", str(reserved), "-s", str(per_cluster), "-h", str(start), "-n", label,
                  self.folder / "volume"])
        # All that it wrote stands in the first 4 MiB.
        run_tool(["dd", f"if={self.folder / 'volume'}", f"of={path}", "bs=512", f"seek={start}", "count=8192", "conv=notrunc",
                  "status=none"])
        boot = self.part("volume", 0, 512)
        fat = int.from_bytes(boot[36:40], "little")
        if int.from_bytes(boot[14:16], "little") != reserved or boot[13] != per_cluster:
            raise ValueError("mkfs.fat took other figures")
        return (sectors - start - reserved - boot[16] * fat) // per_cluster

    def exfat(self, image, size_gb, label):
        """A card as large as is said (a sparse file) with exFAT on it."""
        path = self.folder / image
        with open(path, "wb") as f:
            f.truncate(size_gb * 10**9)
        run_tool(["mkfs.exfat", "-L", label, path])
        return image


# SHA-256 of a public sentence: anybody may sign with the example maker's key.
EXAMPLE_SEED = hashlib.sha256(b"Vellmoor example maker key, not a secret").digest()


def ed25519_sign(seed, message):
    """By openssl; 16 bytes of PKCS #8 (RFC 8410) before the seed make it a key."""
    der = bytes.fromhex("302e020100300506032b657004220420") + seed
    with tempfile.TemporaryDirectory() as folder:
        key, text = Path(folder) / "key", Path(folder) / "text"
        key.write_bytes(der)
        text.write_bytes(message)
        return run_tool(["openssl", "pkeyutl", "-sign", "-inkey", key, "-keyform", "DER", "-rawin", "-in", text])


def ed25519_holds(public_hex, signature_hex, message):
    """Checked by openssl; 12 bytes of SubjectPublicKeyInfo (RFC 8410) before the public key."""
    with tempfile.TemporaryDirectory() as folder:
        key, signature, text = (Path(folder) / n for n in ("key", "signature", "text"))
        key.write_bytes(bytes.fromhex("302a300506032b6570032100" + public_hex))
        signature.write_bytes(bytes.fromhex(signature_hex))
        text.write_bytes(message)
        done = subprocess.run(["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", key, "-keyform", "DER", "-rawin", "-in",
                               text, "-sigfile", signature], capture_output=True, timeout=60)
        return done.returncode == 0


def sealed(sheet):
    """(key, signature, what is signed) of a sheet, as docs/handover.md says: every byte before the seal block."""
    at = sheet.rindex(b'<section class="seal"')
    found = re.search(rb'data-key="([0-9a-f]{64})" data-signature="([0-9a-f]{128})"', sheet[at:])
    return found[1].decode(), found[2].decode(), sheet[:at]


def run_tool(args, stdin=""):
    environment = {**os.environ, "PATH": os.environ["PATH"] + ":/sbin:/usr/sbin", "MTOOLS_SKIP_CHECK": "0"}
    done = subprocess.run(list(map(str, args)), input=stdin.encode(), capture_output=True, timeout=60, env=environment)
    if done.returncode:
        raise RuntimeError(f"{args[0]} failed: {done.stderr.decode().strip()}")
    return done.stdout


class Retry(Exception):
    """A random value that does not suit the case: draw again."""


class Tools:
    """The programs under test and the cache of packages, shared by all cases of a run."""

    def __init__(self, source, programs, cache):
        self.source = Path(source)
        self.programs = programs  # name → path
        self.cache = Path(cache)
        self._keeps = tempfile.TemporaryDirectory(prefix="fettle-made-")
        self.keeps = Path(self._keeps.name)
        self.made = {}  # key of Case._made_once → job and where its home and work folder are kept

    def package(self, family="dunnock", **options):
        """Of one of the example families, by its id; other options as fettle-maker has them."""
        maker = self.programs["fettle-maker"]
        stat = os.stat(maker)
        options["family"] = self.source / f"families/{family}.toml"
        family = options["family"].read_bytes()
        key = sha256(repr((sorted(options.items()), stat.st_size, stat.st_mtime_ns, sha256(family))))[:24]
        folder = self.cache / key
        if not folder.exists():
            self.cache.mkdir(parents=True, exist_ok=True)
            new = self.cache / f"{key}.{os.getpid()}.{random.randrange(1 << 30)}"
            args = [f"--{name.replace('_', '-')}={value}" for name, value in options.items()]
            done = subprocess.run([maker, f"--folder={new}", *args], capture_output=True, text=True, timeout=60)
            if done.returncode:
                raise RuntimeError(f"fettle-maker failed: {done.stderr.strip()}")
            try:
                new.rename(folder)
            except OSError:  # another case was quicker
                shutil.rmtree(new)
        return folder


def pointer(document, path):
    """RFC 6901; raises KeyError when nothing is there."""
    at = document
    for raw in path.split("/")[1:]:
        name = raw.replace("~1", "/").replace("~0", "~")
        try:
            at = at[int(name)] if isinstance(at, list) else at[name]
        except (IndexError, ValueError, TypeError, KeyError):
            raise KeyError(path) from None
    return at
