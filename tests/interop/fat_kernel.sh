#!/bin/bash
# Does the Linux kernel's own driver read what was laid? FAT32, FAT16 and exFAT, read in a machine of its own by the
# kernel-lab.sh that FETTLE_PEERS or the folder beside the checkout holds.
#
#   fat_kernel.sh PROGRAM   PROGRAM: the built fat_oracles_trees
#
# Exit 0: the kernel reads the files of each manifest, and every other reader agrees; 1: it does not; 77: not to be had.
set -u
export LC_ALL=C.UTF-8
program=${1:?usage: fat_kernel.sh PROGRAM}
here=$(cd "$(dirname "$0")" && pwd)
peers=${FETTLE_PEERS:-$here/../../../shared/peers}
for tool in fat_oracles.sh kernel-lab.sh; do
    [ -x "$peers/$tool" ] || { echo "skipped: there is no $tool (FETTLE_PEERS)"; exit 77; }
done
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
passed=0 failed=0
for kind in "sizes fat32" "names fat32" "sizes fat16" "sizes exfat"; do
    read -r tree system <<<"$kind"
    rm -rf "$work/a"; mkdir "$work/a"
    "$program" "$tree" 11 "$work/a" "$system" >/dev/null || { failed=$((failed + 1)); echo "failed: $kind: laying"; continue; }
    # Its "file" oracle passes FAT32 alone: what the readers say is what counts.
    "$peers/fat_oracles.sh" --kernel "$work/a/card.img" >"$work/said" 2>&1
    sed -n '/^--- kernel/,/^---[^k]*$/p' "$work/said" | grep -v '^---' | sort -k2 >"$work/got"
    if grep -q '^agree.*kernel' "$work/said" && sort -k2 "$work/a/manifest" | cmp -s - "$work/got"; then
        passed=$((passed + 1)); echo "$kind: the kernel reads all $(wc -l <"$work/got") files"
    else
        failed=$((failed + 1)); echo "failed: $kind:"; head -30 "$work/said"
    fi
done
echo "$passed passed, $failed failed"
[ $failed = 0 ]
