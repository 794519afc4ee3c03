#!/bin/bash
# Lays trees of many shapes and holds each to fat_oracles.sh; repeats each image's digest with dd and sha256sum; lays
# each twice, which must give the same bytes. Where FETTLE_PEERS names a folder with a second, independent
# fat_oracles.sh, that one is asked too.
#
#   fat_oracles_trees.sh PROGRAM [KIND…]   PROGRAM: the built fat_oracles_trees; KIND: as there, or fat16, exfat
set -u
program=${1:?usage: fat_oracles_trees.sh PROGRAM [KIND…]}
shift
[ $# -gt 0 ] || set -- sizes deep many names clashes fat16 exfat
here=$(cd "$(dirname "$0")" && pwd)
# In memory where there is room (3 GiB): the cards are synced at every step, and a slow disk is not what is tested.
room=$(df --output=avail /dev/shm 2>/dev/null | tail -n 1)
if [ -z "${TMPDIR:-}" ] && [ "${room:-0}" -ge 3145728 ]; then export TMPDIR=/dev/shm; fi
beside=$here/../../../shared/peers  # beside the checkout, where somebody put it there
[ -n "${FETTLE_PEERS:-}" ] || [ ! -d "$beside" ] || FETTLE_PEERS=$beside
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
passed=0 failed=0
ok() { if [ "$1" = 0 ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "failed: $2"; [ -z "${3:-}" ] || head -20 "$3"; fi; }
for kind; do
    case $kind in fat16 | exfat) continue ;; esac
    mkdir "$work/a" "$work/b"
    "$program" $kind 7 "$work/a" >/dev/null && "$program" $kind 7 "$work/b" >/dev/null
    ok $? "$kind: laying"
    cmp -s "$work/a/card.img" "$work/b/card.img"
    ok $? "$kind: laid twice, the images differ"
    "$here/fat_oracles.sh" "$work/a/card.img" "$work/a/manifest" >"$work/said"
    status=$?
    [ $status = 77 ] && { cat "$work/said"; exit 77; }
    ok $status "$kind: tools from outside" "$work/said"
    # The documented way to repeat the digest.
    got=$(sed '$d' "$work/a/extents" | while read -r at length; do
        dd if="$work/a/card.img" bs=1M iflag=skip_bytes,count_bytes skip="$at" count="$length" status=none
    done | sha256sum | cut -d' ' -f1)
    [ "$got" = "$(tail -1 "$work/a/extents")" ]
    ok $? "$kind: dd | sha256sum gives $got"
    if [ $kind != sizes ] && [ $kind != names ]; then
        : # many files: the second set starts a program for each
    elif [ -n "${FETTLE_PEERS:-}" ] && [ -x "$FETTLE_PEERS/fat_oracles.sh" ]; then
        "$FETTLE_PEERS/fat_oracles.sh" --quiet "$work/a/card.img" >"$work/said" 2>&1
        ok $? "$kind: the second set of oracles" "$work/said"
    else
        echo "skipped: second set of oracles (FETTLE_PEERS is not set)"
    fi
    rm -rf "$work/a" "$work/b"
done
# FAT16 and exFAT: each volume by the checker of its own, and by the second set of oracles.
volume_of() {
    local start
    start=$(sfdisk -d "$1" 2>/dev/null | sed -n 's/.*start= *\([0-9]*\).*/\1/p' | head -1)
    dd if="$1" of="$2" bs=512 skip="$start" conv=sparse status=none
}
for system; do
    case $system in fat16 | exfat) ;; *) continue ;; esac
    mkdir "$work/a"
    "$program" sizes 7 "$work/a" $system >/dev/null
    ok $? "$system: laying"
    volume_of "$work/a/card.img" "$work/a/volume"
    if [ $system = exfat ]; then
        if command -v fsck.exfat >/dev/null; then
            fsck.exfat -n "$work/a/volume" >"$work/said" 2>&1 && grep -q clean "$work/said"
            ok $? "exfat: fsck.exfat" "$work/said"
        else
            echo "skipped: fsck.exfat is not installed"
        fi
    else
        fsck.fat -n "$work/a/volume" >"$work/said" 2>&1 && [ "$(wc -l <"$work/said")" = 2 ]
        ok $? "fat16: fsck.fat" "$work/said"
    fi
    if [ -n "${FETTLE_PEERS:-}" ] && [ -x "$FETTLE_PEERS/fat_oracles.sh" ]; then
        # Its "file" oracle passes FAT32 alone; what the readers say is compared.
        "$FETTLE_PEERS/fat_oracles.sh" "$work/a/card.img" >"$work/said" 2>&1
        grep -q '^agree' "$work/said"
        ok $? "$system: the second set of oracles" "$work/said"
        sed -n '/^--- sleuthkit/,/^---[^s]*$/p' "$work/said" | grep -v '^---' | sort -k2 >"$work/got"
        sort -k2 "$work/a/manifest" | cmp -s - "$work/got"
        ok $? "$system: sleuthkit reads other files than were laid" "$work/got"
    fi
    rm -rf "$work/a"
done
echo "$passed passed, $failed failed"
[ $failed = 0 ] && [ $passed -gt 0 ]
