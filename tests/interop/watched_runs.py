#!/usr/bin/python3
"""Watching, from outside, with real processes and real signals: a second terminal alarms when the first is killed and
when it is stopped; many people mark at once; a recorded supply trace gives the same conclusions at 1 and at 600 times the
speed; rehearsals of all three example families at 60 times the speed are watched from a second terminal, left, cut,
killed in mid-run together with their watch, and gone on with, and nothing is lost.

    watched_runs.py FETTLE [alarm|marks|replay|rehearsals]…
"""

import concurrent.futures
import datetime
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

FETTLE = sys.argv[1]
WANTED = sys.argv[2:] or ["alarm", "marks", "replay", "rehearsals"]
QUIET = ["--quiet", "bell", "--quiet", "notice", "--quiet", "spoken"]
SEED = int(os.environ.get("FETTLE_CASE_SEED", "0"), 16) or random.randrange(1 << 30)
failures, checks = [], 0


def check(holds, what):
    global checks
    checks += 1
    if not holds:
        failures.append(what)
        print("failed:", what, flush=True)


class Home:
    def __init__(self, folder):
        self.folder = Path(folder)

    def words(self, *words):
        return [FETTLE, *words, "--home", str(self.folder)]

    def call(self, *words, exits=(0, 1)):
        done = subprocess.run(self.words(*map(str, words), "--json"), capture_output=True, text=True)
        check(done.returncode in exits, f"{' '.join(map(str, words))}: exit {done.returncode}: {done.stderr}")
        return json.loads(done.stdout)

    def start(self, *words, out=subprocess.PIPE):
        return subprocess.Popen(self.words(*map(str, words)), stdin=subprocess.DEVNULL, stdout=out,
                                stderr=subprocess.STDOUT, text=True)

    def entries(self, job):
        return [(e["type"], json.loads(e["data"]), e["at"])
                for e in self.call("job", "show", job, "--entries")["data"]["entries"]]

    def little_known_run(self):
        """A run of a box that no family file knows: nothing has to be on the shelf for it."""
        job = self.call("job", "open", "--customer", "1007", "--housings", "1")["data"]["job"]
        self.call("watch", job, "--start", "--by", "R", "--against-halt", "--once")
        return job


def ends_within(process, seconds):
    try:
        return process.wait(seconds)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return None


def alarm(folder):
    home = Home(folder / "home")
    job = home.little_known_run()
    for how in (signal.SIGKILL, signal.SIGSTOP):
        watch = home.start("watch", job, "--stay", *QUIET)
        time.sleep(1)
        heard = folder / f"heard-{int(how)}"
        listener = home.start("watch", job, "--attach", "--patience", "3", "--hook", f"touch {heard}", *QUIET)
        time.sleep(5)
        check(listener.poll() is None, "no alarm while the watch beats")
        watch.send_signal(how)
        check(ends_within(listener, 10) == 1, f"the second terminal alarms after signal {int(how)}")
        check("No sign of life" in listener.stdout.read(), "and says so")
        time.sleep(0.2)
        check(heard.exists(), "and calls the shop's own command")
        if how == signal.SIGSTOP:
            watch.send_signal(signal.SIGCONT)
            again = home.start("watch", job, "--attach", "--patience", "3", *QUIET)
            time.sleep(4)
            check(again.poll() is None and watch.poll() is None, "woken, it beats again")
            home.call("mark", job, "ended")
            check(ends_within(watch, 5) in (0, 1) and ends_within(again, 5) == 0, "both end with the run")
        else:
            watch.wait()


def marks(folder):
    home = Home(folder / "home")
    job = home.little_known_run()
    watch = home.start("watch", job, "--stay", *QUIET)
    wanted = [("dark", "back", "still", "restarted")[i % 4] for i in range(24)]
    with concurrent.futures.ThreadPoolExecutor(6) as people:
        list(people.map(lambda i: home.call("mark", job, wanted[i], "--ago", 24 - i), range(24)))
    shown = home.call("job", "show", job)
    check(shown["verdict"] != "halt", "the record is whole")
    seen = [d["event"] for kind, d, at in home.entries(job) if kind == "mark"]
    check(sorted(seen) == sorted(wanted), f"every mark of six people is there: {len(seen)} of {len(wanted)}")
    check(watch.poll() is None, "the watch goes on")
    with concurrent.futures.ThreadPoolExecutor(4) as people:  # "ended" four times at once ends it once
        list(people.map(lambda i: home.call("mark", job, "ended"), range(4)))
    kinds = [kind for kind, d, at in home.entries(job)]
    check(kinds.count("ended") == kinds.count("times") == 1, "ended once, and it counts as one own run")
    check(ends_within(watch, 5) in (0, 1), "the watch ends with it")


def tell_time(home, start_ms, from_s, until_s, speed):
    (home.folder / "rehearsal-clock.json").write_text(json.dumps({
        "virtual_ms": start_ms + int(1000 * from_s), "until_ms": start_ms + int(1000 * until_s), "speed": speed,
        "real_ms": int(time.time() * 1000)}))


def a_trace(rng, states, until_s):
    """Current by the plan's own windows and with noise, a dip of the voltage, and a stall at the end."""
    lines, ends, at = [], [], 0.0
    for s in states:
        at += s["lasts"]["p50_s"] * rng.uniform(0.9, 1.1)
        ends.append((at, s.get("current_mean_A") or 1.0))
    dip_s, stall_s = rng.uniform(20, 60), 0.7 * until_s
    for t in range(1, int(until_s)):
        amps = next((a for end, a in ends if t < end), 1.0)
        amps = 0.5 + 0.01 * rng.random() if t > stall_s else max(0.0, amps + rng.gauss(0, 0.1))
        lines.append(f"{t},{10.1 if dip_s < t < dip_s + 3 else 13.5 + 0.02 * rng.random():.3f},{amps:.4f}\n")
    return "".join(lines)


def differing(a, b):
    return [(k, a.get(k), b.get(k)) for k in sorted({*a, *b}) if a.get(k) != b.get(k)]


def replay(folder):
    rng = random.Random(SEED)
    made = Home(folder / "made")
    done = json.loads(subprocess.run([FETTLE, "rehearse", "--speed", "100000", "--from", "27.1.110", "--to", "27.3.118",
                                      "--out", str(made.folder), "--json"], capture_output=True, text=True).stdout)
    check(done["verdict"] in ("fit", "mind"), "a home with a shelf")
    first = Home(made.folder / "home")
    job = first.call("job", "open", "--customer", "1007", "--housings", "2", "--plate", "6104183C5", "--plate",
                     "6402207A4")["data"]["job"]
    first.call("identify", "6104183C5", "6402207A4", "--view", "27.1.110 NS", "--job", job)
    plan = first.call("plan", "--job", job, "--to", "27.3.118")
    states = plan["data"]["steps"][0]["forecast"]["states"]
    start_ms = int(time.time() * 1000) + 86_400_000
    tell_time(first, start_ms, 0, 0, 0)
    first.call("watch", job, "--start", "--by", "R", "--against-halt", "--once")
    started = next(at for kind, d, at in first.entries(job) if kind == "started")
    start_ms = int(datetime.datetime.fromisoformat(started).timestamp() * 1000)

    def conclusions(speed, from_s, until_s, trace):
        """What a watch that stayed from from_s to until_s at that speed has come to; speed 0: all of it at once."""
        home = Home(folder / f"{speed}-{from_s}-{until_s}" / "home")
        shutil.copytree(first.folder, home.folder)
        file = home.folder.parent / "trace.csv"
        file.write_text(trace)
        if speed:
            tell_time(home, start_ms, from_s, until_s, speed)
            watch = home.start("watch", job, "--stay", "--supply", file, *QUIET, out=subprocess.DEVNULL)
            time.sleep((until_s - from_s) / speed + 3)
            watch.kill()
            watch.wait()
            tell_time(home, start_ms, until_s, until_s, 0)
            data = home.call("watch", job, "--once")["data"]
        else:
            tell_time(home, start_ms, until_s, until_s, 0)
            data = home.call("watch", job, "--once", "--supply", file)["data"]
        breaches = [(d["hold"], d["words"]) for kind, d, at in home.entries(job) if kind == "breach"]
        check(len(breaches) == 1, f"at {speed} times the speed the dip is kept once: {breaches}")
        return data, breaches

    long_s = 900
    whole = a_trace(rng, states, long_s)
    at_once, fast = conclusions(0, 0, long_s, whole), conclusions(600, 0, long_s, whole)
    check(at_once == fast, f"900 s at once and at 600 times the speed: {differing(at_once[0], fast[0])}")
    check(at_once[0]["stuck"] > 0.3, f"the stall is seen: {at_once[0]['stuck']}")
    short = a_trace(rng, states, 90)
    real, fast = conclusions(1, 0, 90, short), conclusions(600, 0, 90, short)
    check(real == fast, f"90 s at 1 and at 600 times the speed: {differing(real[0], fast[0])}")


def signs(home, job):
    seen = [(kind, data.get("event", "") or data.get("text", ""), datetime.datetime.fromisoformat(at))
            for kind, data, at in home.entries(job)]
    start = next(at for kind, _, at in seen if kind == "started")
    return [(kind, what, (at - start).total_seconds()) for kind, what, at in seen
            if kind in ("started", "mark", "shows", "tally", "ended")]


def rehearse(folder, *words, exits=(0, 1)):
    done = subprocess.run([FETTLE, "rehearse", *map(str, words), "--json"], capture_output=True, text=True)
    check(done.returncode in exits, f"rehearse {words}: exit {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def one_rehearsal(folder, family, rng):
    folder.mkdir()
    seed, cut = rng.randrange(1, 500), rng.randrange(60, 400)
    whole, r = folder / "whole", folder / "r"
    job = rehearse(folder, "--speed", 100000, "--seed", seed, "--family", family, "--cut-at", cut, "--out",
                   whole)["data"]["job"]
    undisturbed = signs(Home(whole / "home"), job)

    with open(folder / "first.txt", "w") as out:
        first = subprocess.Popen([FETTLE, "rehearse", "--speed", "60", "--seed", str(seed), "--family", family,
                                  "--cut-at", str(cut), "--out", str(r)], stdin=subprocess.DEVNULL, stdout=out,
                                 stderr=subprocess.STDOUT)
    home = Home(r / "home")
    for _ in range(600):  # until its run is under way
        time.sleep(0.1)
        if (home.folder / "rehearsal-clock.json").exists() or first.poll() is not None:
            break
    with open(folder / "watch.txt", "w") as out:
        watch = home.start("watch", job, "--stay", *QUIET, out=out)
    listener = home.start("watch", job, "--attach", "--patience", "4", *QUIET)
    time.sleep(rng.uniform(2.5, 4))
    check(first.poll() is None and watch.poll() is None and listener.poll() is None, f"{family}: all three go on")
    before = home.call("watch", job, "--once")["data"]
    first.kill()  # the program in mid-run, and with it its watch: the laptop's battery, say
    watch.kill()
    first.wait(), watch.wait()
    check((folder / "watch.txt").read_text().strip() != "", f"{family}: the second terminal told where it is")
    check(ends_within(listener, 12) == 1, f"{family}: who listened alarms")
    after = home.call("watch", job, "--once")["data"]
    check(after["started"] == before["started"] and after["elapsed_s"] >= before["elapsed_s"],
          f"{family}: the run stands where it stood")

    again = subprocess.Popen([FETTLE, "rehearse", "--go-on", str(r), "--speed", "60"], stdin=subprocess.DEVNULL,
                             stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    with open(folder / "watch2.txt", "w") as out:
        watch = home.start("watch", job, "--stay", *QUIET, out=out)
    time.sleep(rng.uniform(2, 4))
    if again.poll() is None:
        again.send_signal(signal.SIGINT)  # left
        again.wait()
    if not json.loads((r / "rehearsal.json").read_text())["ended"]:
        rehearse(folder, "--go-on", r, "--speed", 100000)
    check(ends_within(watch, 15) in (0, 1), f"{family}: the watch on the second terminal ends with the run")
    gone_on = signs(home, job)
    check([s[:2] for s in gone_on] == [s[:2] for s in undisturbed], f"{family}: every sign once, in its order")
    check(len(gone_on) == len(undisturbed) and
          all(abs(a[2] - b[2]) < 0.01 for a, b in zip(gone_on, undisturbed)), f"{family}: at the same instants")
    check(home.call("job", "show", job)["verdict"] != "halt", f"{family}: the record is whole")
    check(not any("at once" in d.get("text", "") for kind, d, at in home.entries(job) if kind == "note"),
          f"{family}: a fast clock is no jump")


def rehearsals(folder):
    rng = random.Random(SEED)
    for family in ("dunnock", "brill", "pelm"):
        one_rehearsal(folder / family, family, rng)


def main():
    for name in WANTED:
        with tempfile.TemporaryDirectory() as folder:
            began = time.time()
            globals()[name](Path(folder))
            print(f"{name}: {time.time() - began:.0f} s", flush=True)
    print(f"seed {SEED:x}, {checks} checks, {len(failures)} failed")
    return 1 if failures or checks == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
