#!/usr/bin/python3
"""A real block device from end to end: a loop device over a file that holds somebody's card. The program lays a release
on it, asked at a terminal and by a script; fsck.fat, mtools and dd | sha256sum say what stands there afterwards; it is
killed and interrupted at random moments, the gauge too.

    card_device.py FETTLE FETTLE-MAKER

Exit 77 (skipped) where no loop device can be made.
"""

import hashlib
import json
import os
import pty
import random
import re
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import jsonschema

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import case_lib  # noqa: E402
import quick_disk  # noqa: E402

SOURCE = Path(__file__).resolve().parent.parent.parent
SIZE = 600 << 20
FETTLE, MAKER = sys.argv[1:3]
failures, checks = [], 0


def check(holds, what):
    global checks
    checks += 1
    if not holds:
        failures.append(what)
        print("failed:", what)


def tool(*words, **more):
    return subprocess.run(words, check=True, capture_output=True, **more).stdout


def sha(path):
    digest = hashlib.sha256()
    with open(path, "rb") as f:
        while block := f.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


class Bench:
    def __init__(self, folder):
        self.folder, self.file = Path(folder), Path(folder) / "medium.img"
        self.home = self.folder / "home"

    def fettle(self, *words):
        return subprocess.run([FETTLE, "--home", self.home, *words], capture_output=True, text=True,
                              stdin=subprocess.DEVNULL, timeout=120)

    def old_card(self):
        """Somebody's card, made by sfdisk, mkfs.fat and mtools."""
        with open(self.file, "ab") as f:  # never shorter: a device stands on it
            f.truncate(SIZE)
        tool("sfdisk", "-q", self.file, input=b"start=2048, type=c\n")
        tool("mkfs.fat", "-F", "32", "-s", "8", "-n", "OWNER MAP", "--offset", "2048", "-h", "2048", self.file,
             str((SIZE - (2048 << 9)) >> 10))
        (self.folder / "holiday.txt").write_text("do not lose this\n")
        tool("mcopy", "-i", f"{self.file}@@1M", self.folder / "holiday.txt", "::holiday.txt")

    def at_terminal(self, typed, *words):
        """Runs with a terminal of its own and types one line when asked."""
        pid, terminal = pty.fork()
        if pid == 0:
            os.execv(FETTLE, [FETTLE, "--home", str(self.home), *words])
        said, asked, ends = b"", False, time.monotonic() + 120
        while time.monotonic() < ends:
            if terminal in select.select([terminal], [], [], 1)[0]:
                try:
                    part = os.read(terminal, 65536)
                except OSError:
                    break
                if not part:
                    break
                said += part
            if not asked and b"type the last four characters" in said:
                asked = True
                os.write(terminal, typed.encode() + b"\n")
        os.close(terminal)
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), said.decode(errors="replace"), asked

    def broken_off(self, how, after_s, *words):
        """Starts it, and ends it after so many seconds; True if it had ended by itself."""
        p = subprocess.Popen([FETTLE, "--home", self.home, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                             stdin=subprocess.DEVNULL)
        try:
            p.wait(after_s)
            return True
        except subprocess.TimeoutExpired:
            p.send_signal(how)
            p.wait(30)
            return False


def refusals(b, loop, agree):
    before = sha(b.file)
    said = b.fettle("card", "lay", "27.3.118", "--out", loop)
    check(said.returncode == 2 and "OWNER MAP" in said.stderr and "holiday.txt" in said.stderr, "what would be lost is said")
    check(f"--yes-erase '{agree}'" in said.stderr, "the next step can be typed")
    check(b.fettle("card", "lay", "27.3.118", "--out", loop, "--yes-erase", agree[:-1]).returncode == 2, "a wrong serial")
    code, said, asked = b.at_terminal("0000", "card", "lay", "27.3.118", "--out", loop)
    check(asked and code == 2 and "does not end" in said, "a wrong answer at the terminal")
    claimed = os.open(loop, os.O_RDONLY | os.O_EXCL)
    said = b.fettle("card", "lay", "27.3.118", "--out", loop, "--yes-erase", agree)
    check(said.returncode == 4 and "in use" in said.stderr, "a device that somebody holds")
    os.close(claimed)
    check(sha(b.file) == before, "whatever was refused, nothing was written")


def laid(b, loop, package):
    code, said, asked = b.at_terminal(str(SIZE)[-4:], "card", "lay", "27.3.118", "--out", loop)
    check(asked and code == 0 and "Safe to pull." in said, f"laid at the terminal: {code} {said}")
    said = b.fettle("card", "audit", loop, "--release", "27.3.118", "--json")
    check(json.loads(said.stdout)["verdict"] == "fit", f"audited: {said.stdout}")
    with open(b.file, "rb") as f:
        f.seek(454)
        start = int.from_bytes(f.read(4), "little")
    part = b.folder / "part.img"
    tool("dd", f"if={b.file}", f"of={part}", "bs=1M", "iflag=skip_bytes", f"skip={start * 512}", "conv=sparse")
    check(subprocess.run(["fsck.fat", "-n", part], capture_output=True).returncode == 0, "fsck.fat")
    out = b.folder / "out"
    tool("mcopy", "-s", "-Q", "-i", f"{b.file}@@{start * 512}", "::/", out)
    there = {str(p.relative_to(out)): sha(p) for p in out.rglob("*") if p.is_file()}
    wanted = {str(p.relative_to(package)): sha(p) for p in package.rglob("*") if p.is_file()}
    check(there == wanted and there, "mtools reads every file of the release")
    shutil.rmtree(out)
    part.unlink()


def digest_repeats(b, loop, agree):
    said = b.fettle("card", "lay", "27.3.118", "--out", loop, "--yes-erase", agree)
    line = re.search(r"\{ dd .*\| sha256sum", said.stdout, re.S)
    digest = re.search(r"sha256\s+([0-9a-f]{64})", said.stdout)
    check(said.returncode == 0 and line and digest, "laid by a script")
    if line and digest:
        shown = " ".join(line[0].split())
        check(subprocess.run(["bash", "-c", shown], capture_output=True, text=True).stdout.split()[0] == digest[1],
              "dd | sha256sum repeats the digest")


def killed(b, loop, agree, rng):
    whole = broken = 0
    begun = time.monotonic()
    b.fettle("card", "lay", "27.3.118", "--out", loop, "--yes-erase", agree)
    takes_s = time.monotonic() - begun
    b.old_card()
    for n in range(16):
        how = signal.SIGKILL if n % 2 else signal.SIGINT
        done = b.broken_off(how, rng.uniform(0.05, 1.0) * takes_s, "card", "lay", "27.3.118", "--out", loop, "--yes-erase", agree)
        answer = json.loads(b.fettle("card", "audit", str(b.file), "--release", "27.3.118", "--json").stdout)
        good = answer["verdict"] in ("fit", "mind")
        whole, broken = whole + good, broken + (not good)
        check(good or not done, "a run that ended well left a good card")
        if not good:
            check(answer["data"].get("files_matched", 0) == 0, f"a half-laid card was taken for one: {answer['reasons']}")
        b.old_card()
    print(f"broken off 16 times: {broken} times no card, {whole} times whole")
    check(broken > 0, "no run was broken off in the middle")


def gauged(b, loop, agree, rng):
    """The gauge, as typed and killed in between. Its documents are held against docs/json as those of all others are."""
    schema = jsonschema.Draft202012Validator(json.loads((SOURCE / "docs/json/card-gauge.json").read_text()))
    words = ("card", "gauge", loop, "--yes-erase", agree)
    for n in range(6):
        b.old_card()
        b.broken_off(signal.SIGKILL if n % 2 else signal.SIGINT, rng.uniform(0.05, 1.2), *words)
        answer = json.loads(b.fettle("card", "audit", str(b.file), "--release", "27.3.118", "--json").stdout)
        check(answer["verdict"] not in ("fit", "mind"), f"a card half gauged was taken for a good one: {answer['reasons']}")
    for more in ((), ("--again",)):
        answer = json.loads(b.fettle(*words, *more, "--json").stdout)
        codes = {r["code"] for r in answer["reasons"]}
        seen = answer["data"]["again" if more else "first"]
        check(not [e.message for e in schema.iter_errors(answer["data"])], f"the gauge's document: {answer['data']}")
        check(seen["right"] == seen["sectors"] > 100000, f"every mark of an honest device is there: {seen}")
        check(codes & ({"gauge-not-surely-pulled", "gauge-sound"} if more else {"gauge-warm", "gauge-not-pulled"}),
              f"nothing is promised before it was pulled: {codes}")
    b.old_card()
    check(b.fettle("card", "gauge", loop, "--again").returncode == 3, "another card has none of its marks")
    b.fettle("card", "lay", "27.3.118", "--out", loop, "--yes-erase", agree)
    check(b.fettle("card", "gauge", loop, "--again").returncode == 2, "what was laid since holds no marks")


def main():
    quick_disk.use()
    seed = int(os.environ.get("FETTLE_CASE_SEED") or random.randrange(1 << 32))
    print("seed", seed)
    with tempfile.TemporaryDirectory() as folder:
        b = Bench(folder)
        b.old_card()
        made = subprocess.run(["losetup", "-f", "--show", b.file], capture_output=True, text=True)
        if made.returncode != 0:
            print("skipped: no loop device can be made here:", made.stderr.strip())
            return 77
        loop, agree = made.stdout.strip(), str(SIZE)
        try:
            package = case_lib.Tools(SOURCE, {"fettle-maker": MAKER}, Path(folder) / "made").package(release="27.3.118")
            said = b.fettle("shelf", "add", package, "--from", "test", "--right", "own-work")
            assert said.returncode == 0, said.stderr
            refusals(b, loop, agree)
            laid(b, loop, Path(package))
            digest_repeats(b, loop, agree)
            killed(b, loop, agree, random.Random(seed))
            gauged(b, loop, agree, random.Random(seed))
        finally:
            subprocess.run(["losetup", "-d", loop], check=False)
    print(f"{checks} checks, {len(failures)} failed")
    return 1 if failures or checks == 0 else 0


sys.exit(main())
