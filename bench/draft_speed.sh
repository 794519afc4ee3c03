#!/bin/bash
# How long does a draft of a package of 4,000 files take, against digesting the same files once with SHA-256? Both by turns in
# one run, medians; the package is in memory, so no disk is measured. Goal: at most 1.5.
#
#   bench/draft_speed.sh FETTLE [FILES, default 4000] [KIB, default 100: their mean size] [FOLDER in memory, default /dev/shm]
#
# Index: JSON with path, size and SHA-256 of each file. FETTLE should be a release build. The other side is openssl (one
# thread); Fettle reads with as many threads as it has processors: both the time on the clock and the processor time are said.
set -eu
export LC_ALL=C
fettle=$(readlink -f "$1") files=${2:-4000} kib=${3:-100} turns=${TURNS:-5}
work=$(mktemp -d -p "${4:-/dev/shm}")
trap 'rm -rf "$work"' EXIT
cd "$work"
/usr/bin/python3 - "$files" "$kib" <<'P'
import hashlib, json, os, random, sys
files, kib = int(sys.argv[1]), int(sys.argv[2])
rng, pieces = random.Random(6), []
for i in range(files):
    path = f"wren_27.3.118/part{i % 40:02}/piece{i:05}.bin"
    os.makedirs(os.path.dirname(path), exist_ok=True)
    data = rng.randbytes(rng.randrange(kib * 512, kib * 1536))
    open(path, "wb").write(data)
    pieces.append({"name": f"piece {i}", "path": path.split("/", 1)[1], "bytes": len(data), "version": f"1.{i}",
                   "sum": hashlib.sha256(data).hexdigest()})
json.dump({"release": "27.3.118", "pieces": pieces}, open("wren_27.3.118/contents.json", "w"), indent=1)
P
draft() { "$fettle" --home home --json family draft wren_27.3.118 --plate 6104183C5 --view "27.3.118 NS" --id wren >draft.json; }
digest() { find wren_27.3.118 -type f -print0 | xargs -0 openssl dgst -sha256 >sums; }
TIMEFORMAT='%R %U %S'
draft # once, so that both find the files in memory
digest
/usr/bin/python3 - "$files" <<'P'
import json, sys
said = " ".join(json.load(open("draft.json"))["data"]["found"])
assert f"{sys.argv[1]} of {sys.argv[1]} agree, SHA-256, hex" in said, said
P
for _ in $(seq "$turns"); do
    { time draft; } 2>>draft.times
    { time digest; } 2>>digest.times
done
/usr/bin/python3 - "$files" "$(du -sm wren_27.3.118 | cut -f1)" <<'P'
import statistics, sys
sides = []
for name in ("draft", "digest"):
    rows = [list(map(float, line.split())) for line in open(name + ".times")]
    sides.append((statistics.median(r[0] for r in rows), statistics.median(r[1] + r[2] for r in rows)))
(a, ap), (b, bp) = sides
print(f"{sys.argv[1]} files, {sys.argv[2]} MiB: draft {a:.3f} s, openssl dgst -sha256 {b:.3f} s, ratio {a / b:.2f} (goal 1.5); "
      f"processor time {ap:.3f} s against {bp:.3f} s, ratio {ap / bp:.2f}")
P
