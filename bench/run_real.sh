#!/bin/bash
# The main job on two releases of some 4,000 files made from real ones (see bench/real_releases): shelve both, plan, lay,
# audit, run the stand-in, prove. Prints what each step took and its largest memory.
#   bench/run_real.sh [--keep]
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
fettle=${FETTLE:-$PWD/build/release/apps/fettle/fettle}
[[ -x $fettle ]] || { echo "$fettle is not built. Next: ./do build release" >&2; exit 1; }
work=$(mktemp -d "${TMPDIR:-/tmp}/fettle-real-XXXXXX")
[[ ${1:-} == --keep ]] && echo "kept in $work" || trap 'rm -rf "$work"' EXIT

# step NAME COMMAND…: runs fettle, prints seconds and MiB; its answer stands in $work/NAME.txt
step() {
    local name=$1 begin end rc=0
    shift
    begin=$(date +%s.%N)
    "$fettle" --home "$work/home" --timings "$@" >"$work/$name.txt" 2>"$work/$name.err" || rc=$?
    end=$(date +%s.%N)
    if ((rc > 1)); then
        cat "$work/$name.txt" "$work/$name.err"
        echo "$name failed with exit code $rc"
        exit 1
    fi
    printf '%-22s %7.1f s  %6.0f MiB   %s\n' "$name" "$(awk "BEGIN {print $end - $begin}")" \
        "$(sed -n 's/.*peak memory \([0-9]*\).*/\1/p' "$work/$name.err" | awk '{print $1 / 1024}')" \
        "$(head -n 1 "$work/$name.txt" | cut -c1-90)"
}

mapfile -t packages < <(bench/real_releases 2>"$work/download.err") || { cat "$work/download.err"; exit 1; }
old=${packages[0]} new=${packages[1]}
from=$(basename "$old") to=$(basename "$new")
for p in "${packages[@]}"; do
    printf '%-22s %7d files %6d MiB\n' "$(basename "$p")" "$(find "$p" -type f | wc -l)" "$(du -sm "$p" | cut -f1)"
done
step family-add family add bench/families/kernel.toml
step shelve-old shelf add "$old" --family wren-bench --from "the Debian archive" --right licence
step shelve-new shelf add "$new" --family wren-bench --from "the Debian archive" --right licence
step plan plan --plate 7900001A1 --view "$from BN" --to "$to"
step lay card lay "$to" --out "$work/card.img"
step audit card audit "$work/card.img" --release "$to"
step rehearse rehearse --family wren-bench --from "$from" --to "$to" --out "$work/run"
