#!/usr/bin/python3
"""The power-cut map and the forecast against a box that nobody here wrote: the peer qemu_box, a stock kernel in a virtual
machine whose power is cut with SIGKILL at random instants. Every outcome that is seen must be in the map's set for that
instant; what undisturbed runs take is forecast from the runs before it and scored.

    machine_box.py CUTMAP_TEST [CUTS] [TYPE…]    CUTS for each type (200), of resume, restart, twin and careless
    machine_box.py --record FOLDER SWEEP.jsonl…  writes what sweeps saw as the test data that the fast tier reads

The peer is looked for in FETTLE_PEERS, or beside the checkout. Exit 0: all as the map says; 1: not; 77: no such peer.
"""

import json
import os
import random
import re
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
TYPES = ["resume", "restart", "twin", "careless"]
AT_ONCE = 25  # cuts in one sweep, which begins with an undisturbed run


def last_start(run):
    """In which start of the machine the cut came, as the sweep planned it."""
    text, nth = run["planned"]["after"], run["planned"]["nth"]
    again = nth > 1 or "planned=0" not in text and text.startswith("mode=") or text.startswith("takes-up by=itself")
    return 2 if again or re.match(r"act=\d+ restart", text) else 1


def lines_of(sweep):
    """What one sweep saw, as lines of the test data."""
    out = []
    for line in Path(sweep).read_text().splitlines():
        seen = json.loads(line)
        if "undisturbed" in seen:
            end = next(a["from"] for a in seen["undisturbed"]["acts"] if re.match(r"act=\d+ end$", a["mark"]))
            out.append((seen["undisturbed"]["type"], f"took\t{end}"))
        elif "run" in seen:
            if seen["breaks"]:
                sys.exit(f"{sweep}: {seen['breaks']}")
            if seen["killed_at"] is not None:
                mark = re.sub(r" (file|digest)=\S+", "", seen["act"])
                out.append((None, f"cut\t{last_start(seen)}\t{mark}\t{seen['outcome']}"))
    kind = next(t for t, _ in out if t)
    return kind, [line for _, line in out]


def record(folder, sweeps):
    by_type = {}
    for sweep in sweeps:
        kind, lines = lines_of(sweep)
        by_type.setdefault(kind, []).extend(lines)
    for kind, lines in by_type.items():
        (Path(folder) / f"{kind}.tsv").write_text("".join(line + "\n" for line in lines))


def main():
    if sys.argv[1] == "--record":
        record(sys.argv[2], sys.argv[3:])
        return 0
    program = sys.argv[1]
    cuts = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    peers = Path(os.environ.get("FETTLE_PEERS", HERE.parents[2] / "shared" / "peers"))
    sweep = peers / "qemu_box" / "sweep.sh"
    if not sweep.exists():
        print("skipped: there is no qemu_box/sweep.sh (FETTLE_PEERS)")
        return 77
    seed = int(os.environ.get("FETTLE_RANDOM_SEED", random.randrange(1 << 30)))
    print(f"FETTLE_RANDOM_SEED={seed}", flush=True)
    with tempfile.TemporaryDirectory(prefix="fettle-machine-") as work:
        files = []
        for kind in sys.argv[3:] or TYPES:
            for at in range(0, cuts, AT_ONCE):
                file = Path(work) / f"{kind}-{at}.jsonl"
                n = min(AT_ONCE, cuts - at)
                loss = "cache" if at // AT_ONCE % 4 == 3 else "guest"
                done = subprocess.run([sweep, "--type", kind, "--n", str(n), "--seed", str(seed + at), "--loss", loss,
                                       "--spread", "act" if at // AT_ONCE % 2 == 0 else "time", "--jobs", "2",
                                       "--out", file], stdout=subprocess.DEVNULL)
                if done.returncode != 0:
                    print(f"failed: the sweep of {kind} ended with {done.returncode}")
                    return 1
                files.append(file)
                print(kind, at + n, dict(Counter(l.split("\t")[-1] for l in lines_of(file)[1] if l.startswith("cut"))),
                      flush=True)
        record(work, files)
        return subprocess.run([program, "--gtest_brief=1", "--gtest_filter=MachineBox.*"],
                              env=dict(os.environ, FETTLE_MACHINE_BOX=work)).returncode


if __name__ == "__main__":
    sys.exit(main())
