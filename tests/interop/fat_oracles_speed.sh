#!/bin/bash
# How long does it take from a plain folder to a verified image? Fettle's laying against mkfs.fat + mcopy + reading all
# back with mcopy + sha256sum of that and of the source, by turns, medians of five. 400 MB in 4,000 files, in memory.
#
#   fat_oracles_speed.sh PROGRAM [FOLDER in memory, default /dev/shm]
set -eu
export MTOOLSRC=/dev/null PATH=$PATH:/sbin:/usr/sbin LC_ALL=C
program=$(readlink -f "$1")
work=$(mktemp -d -p "${2:-/dev/shm}")
trap 'rm -rf "$work"' EXIT
cd "$work"
mkdir source
for d in $(seq 40); do
    mkdir source/folder-$d
    head -c 10000000 /dev/urandom | split -b 100000 -a 3 - source/folder-$d/module-with-a-long-name-
done
now() { date +%s.%N; }
for turn in 1 2 3 4 5; do
    mkdir out; t=$(now)
    "$program" "folder:$work/source" 1 out >/dev/null
    echo "$(echo "$(now) - $t" | bc)" >>fettle.s
    rm -rf out; t=$(now)
    truncate -s 1G peer.img; mkfs.fat -F 32 -s 8 peer.img >/dev/null
    mcopy -s -Q -i peer.img source/* ::/
    mkdir back; mcopy -s -n -Q -i peer.img ::/ back
    (cd back && find . -type f -print0 | sort -z | xargs -0 sha256sum) >back.sums
    (cd source && find . -type f -print0 | sort -z | xargs -0 sha256sum) >source.sums
    cmp back.sums source.sums
    echo "$(echo "$(now) - $t" | bc)" >>peer.s
    rm -rf back peer.img
done
median() { sort -n "$1" | sed -n 3p; }
echo "fettle $(median fettle.s) s, peers $(median peer.s) s, ratio $(echo "scale=2; $(median fettle.s) / $(median peer.s)" | bc)"
