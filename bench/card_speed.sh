#!/bin/bash
# How fast are cards laid and audited? Both sides of each ratio by turns in one run, medians; stages and memory stated. In
# memory, so that no disk is measured.
#
#   bench/card_speed.sh TREES AUDIT [FOLDER in memory, default /dev/shm]   the built fat_oracles_trees, fat_oracles_audit
#   FETTLE=the built fettle: from the shelf as well (needs restic)
#
# lay     a plain folder to a verified image, against mkfs.fat + mcopy + reading all back with mcopy + sha256sum of that and
#         of the source. Goal: at most 0.7 of their sum.
# shelf   a shelved release to a verified image, against restic restore + the same. Goal: at most 0.5.
# audit   a laid card by its own index, against openssl dgst -sha256 of the same bytes. Goals: at most 1.3, under 128 MB.
# sparse  a 32 GB image with 400 MB used. Goal: under 2 s.
set -eu
export MTOOLSRC=/dev/null PATH=$PATH:/sbin:/usr/sbin LC_ALL=C
trees=$(readlink -f "$1") audit=$(readlink -f "$2") turns=${TURNS:-5}
project=$(cd "$(dirname "$0")/.." && pwd) fettle=${FETTLE:+$(readlink -f "$FETTLE")}
[ -z "$fettle" ] || command -v restic >/dev/null || { echo "restic is not installed: nothing from the shelf"; fettle=; }
work=$(mktemp -d -p "${3:-/dev/shm}")
trap 'rm -rf "$work"' EXIT
cd "$work"
now() { date +%s.%N; }
# timed FILE COMMAND…: its seconds go to FILE
timed() {
    local file=$1 from
    shift
    from=$(now)
    "$@"
    echo "$(now) $from" | awk '{printf "%.3f\n", $1 - $2}' >>"$file"
}
median() { sort -n "$1" | sed -n $(((turns + 1) / 2))p; }
# said WHAT OURS THEIRS GOAL
said() {
    local ours theirs
    ours=$(median "$2") theirs=$(median "$3")
    awk -v w="$1" -v a="$ours" -v b="$theirs" -v g="$4" \
        'BEGIN {printf "%-28s %7.3f s  against %7.3f s  ratio %.2f (goal %s)\n", w, a, b, a / b, g}'
}
fettle_lay() { "$trees" "folder:$work/pack" 1 out >/dev/null; }
peer_mkfs() { truncate -s 1G peer.img; mkfs.fat -F 32 -s 8 peer.img >/dev/null; }
peer_copy() { mcopy -s -Q -i peer.img pack/* ::/; }
peer_back() { mkdir back; mcopy -s -n -Q -i peer.img ::/ back; }
sums() { (cd "$1" && find . -type f -print0 | sort -z | xargs -0 sha256sum) >"$2"; }
peer_lay() {
    timed stage.mkfs peer_mkfs
    timed stage.copy peer_copy
    timed stage.back peer_back
    timed stage.sums sums back back.sums
    timed stage.source sums pack source.sums
    cmp back.sums source.sums
}
# The packages of this bench are signed with a key of their own (32 bytes of 07h): the example family with that key.
shelve() {
    local key
    key=$( (printf '\x30\x2e\x02\x01\x00\x30\x05\x06\x03\x2b\x65\x70\x04\x22\x04\x20'; printf '\x07%.0s' {1..32}) |
        openssl pkey -inform DER -pubout -outform DER | tail -c 32 | od -An -tx1 | tr -d ' \n')
    sed "s/key = \"[0-9a-f]*\"/key = \"$key\"/" "$project/families/dunnock.toml" >dunnock.toml
    "$fettle" --home home family add dunnock.toml --accept-loosening-by bench >/dev/null
    "$fettle" --home home shelf add pack --from bench --right own-work >/dev/null
    export RESTIC_PASSWORD=bench RESTIC_CACHE_DIR=$work/cache
    restic -q -r repo init >/dev/null
    (cd pack && restic -q -r ../repo backup . >/dev/null)
}
shelf_lay() { "$fettle" --home home card lay 27.3.118 --out shelf.img --size 1G >/dev/null; }
peer_restore() { restic -q -r repo restore latest --target restored >/dev/null; }
peer_shelf() {
    timed stage.restore peer_restore
    peer_mkfs
    mcopy -s -Q -i peer.img restored/* ::/
    peer_back
    sums back back.sums
    sums restored source.sums
    cmp back.sums source.sums
}
openssl_dgst() { find pack -type f -print0 | xargs -0 openssl dgst -sha256 >/dev/null; }
fettle_audit() {
    /usr/bin/env python3 - "$audit" <<'P'
import resource, subprocess, sys
out = subprocess.run([sys.argv[1], "once", "card.img"], capture_output=True, text=True, check=True).stdout
assert out == "fit card-good\n", out
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024, file=open("audit.mib", "a"))
P
}
nothing() { /usr/bin/env python3 -c 'import resource, subprocess'; }
# Other shapes for a quick look: SHAPES="40 100000,2 500000".
IFS=, read -ra shapes <<<"${SHAPES:-4000 100000,6 120000000}"
for shape in "${shapes[@]}"; do
    read -r pieces each <<<"$shape"
    rm -rf pack card.img ./*.s stage.* audit.mib
    "$audit" lay . "$pieces" "$each" 1073741824
    find pack -type f -exec cat {} + >/dev/null
    [ -z "$fettle" ] || { rm -rf home repo cache; shelve; }
    for turn in $(seq "$turns"); do
        if [ -n "$fettle" ]; then
            timed shelf.s shelf_lay; rm -f shelf.img
            timed restic.s peer_shelf; rm -rf back peer.img restored
        fi
        mkdir out; timed lay.s fettle_lay; rm -rf out
        timed peer.s peer_lay; rm -rf back peer.img
        timed start.s nothing
        timed audit.s fettle_audit
        timed openssl.s openssl_dgst
    done
    echo "$pieces files of $each bytes, medians of $turns:"
    said "  lay and read back" lay.s peer.s 0.7
    echo "    stages of the other side: mkfs $(median stage.mkfs), mcopy in $(median stage.copy), mcopy out $(median stage.back), sha256sum $(median stage.sums) + $(median stage.source) s"
    if [ -n "$fettle" ]; then
        said "  from the shelf" shelf.s restic.s 0.5
        echo "    of that restic restore $(median stage.restore) s"
    fi
    # The timer is a Python program; what its own start takes is taken off.
    paste audit.s start.s | awk '{printf "%.3f\n", $1 - $2}' >audit.net.s
    said "  audit" audit.net.s openssl.s 1.3
    echo "    largest memory $(sort -n audit.mib | tail -1) MiB (goal 128)"
done
rm -rf pack card.img ./*.s audit.mib
"$audit" lay . ${SPARSE:-4000 100000} 32010928128
for turn in $(seq "$turns"); do timed start.s nothing; timed audit.s fettle_audit; done
paste audit.s start.s | awk '{printf "%.3f\n", $1 - $2}' >audit.net.s
echo "32 GB sparse image, 400 MB used: audit $(median audit.net.s) s (goal 2), largest memory $(sort -n audit.mib | tail -1) MiB"
