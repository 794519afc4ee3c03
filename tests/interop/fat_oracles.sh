#!/bin/bash
# What do tools that nobody here wrote say about a card image?
#
#   fat_oracles.sh IMAGE [MANIFEST]
#
# fsck.fat must find nothing, sfdisk one partition inside the image, and mtools and sleuthkit must read the same files.
# MANIFEST (lines "sha256  path", any order): what they must read. Needs Debian's dosfstools, mtools, sleuthkit, fdisk.
# Exit 0: all agree; 1: something does not, said on standard output; 77: a tool is not there.
set -u
export LC_ALL=C.UTF-8 MTOOLSRC=/dev/null
PATH=$PATH:/sbin:/usr/sbin
image=${1:?usage: fat_oracles.sh IMAGE [MANIFEST]}
manifest=${2:-}
for tool in fsck.fat mcopy tsk_recover fls sfdisk; do
    command -v "$tool" >/dev/null || { echo "skipped: $tool is not installed"; exit 77; }
done
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
bad=0
wrong() { echo "wrong: $*"; bad=1; }

# The table: exactly one partition, inside the image, of a FAT32 type.
sectors=$(($(stat -c %s "$image") / 512))
read -r start size type < <(sfdisk -d "$image" 2>/dev/null |
    sed -n 's/.*start= *\([0-9]*\), size= *\([0-9]*\), type=\([0-9a-f]*\).*/\1 \2 \3/p' | head -1)
if [ -z "${start:-}" ]; then
    wrong "sfdisk finds no partition"; exit 1
fi
[ "$(sfdisk -d "$image" 2>/dev/null | grep -c 'start=')" = 1 ] || wrong "sfdisk finds more than one partition"
[ $((start + size)) -le "$sectors" ] || wrong "the partition ends behind the image"
case $type in b | c) ;; *) wrong "partition type $type" ;; esac

# The file system: fsck.fat takes a volume, so the partition is cut out (holes stay holes). It prints its name and one
# line of counts when it has nothing to say.
dd if="$image" of="$work/volume" bs=1M iflag=skip_bytes,count_bytes skip=$((start * 512)) count=$((size * 512)) \
    conv=sparse status=none
truncate -s $((size * 512)) "$work/volume"
fsck.fat -n "$work/volume" >"$work/fsck" 2>&1 || wrong "fsck.fat ends with $?"
[ "$(wc -l <"$work/fsck")" = 2 ] || { wrong "fsck.fat says:"; head -20 "$work/fsck"; }

# The readers.
list() { (cd "$1" && find . -type f -printf '%P\0' | xargs -0r sha256sum --) | sed 's/^\\//' | sort -k2 >"$2"; }
mkdir "$work/mtools" "$work/sleuthkit"
mcopy -s -n -m -i "$image@@$((start * 512))" ::/ "$work/mtools" >"$work/mcopy" 2>&1 </dev/null ||
    { wrong "mcopy cannot read all:"; head -5 "$work/mcopy"; }
list "$work/mtools" "$work/list.mtools"
tsk_recover -a -f fat32 -o "$start" "$image" "$work/sleuthkit" >"$work/tsk" 2>&1 || wrong "sleuthkit cannot read: $(head -1 "$work/tsk")"
# It brings out the volume label and its own notes as files too.
list "$work/sleuthkit" "$work/list.all"
grep -v -e ' (Volume Label Entry)' -e '  \$' -e '(Volume Label Entry)$' "$work/list.all" >"$work/list.sleuthkit"
# It leaves out empty files; those are taken from its listing.
fls -f fat32 -u -r -p -F -o "$start" "$image" 2>/dev/null | sed -n 's/^r\/r [0-9]*:\t//p' |
    grep -v -e '(Volume Label Entry)$' | sort >"$work/names.sleuthkit"
cut -c67- "$work/list.mtools" | sort >"$work/names.mtools"
empty=e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855
grep -v "^$empty" "$work/list.mtools" >"$work/full.mtools"
grep -v "^$empty" "$work/list.sleuthkit" >"$work/full.sleuthkit"
# sleuthkit 4.11 loses the last piece of a name longer than 195 characters (also on images that mtools made): the first
# 195 of every name are compared.
short() { sed -E -i 's#([^/ ]{195})[^/ ]+#\1#g' "$1"; sort -k2 -o "$1" "$1"; }
for list in names.mtools names.sleuthkit full.mtools full.sleuthkit; do short "$work/$list"; done
same() {
    cmp -s "$2" "$3" || { wrong "$1 (<, >):"; diff "$2" "$3" | grep '^[<>]' | head -10; }
}
same "mtools and sleuthkit read different names" "$work/names.mtools" "$work/names.sleuthkit"
same "mtools and sleuthkit read different bytes" "$work/full.mtools" "$work/full.sleuthkit"
if [ -n "$manifest" ]; then
    sort -k2 "$manifest" >"$work/wanted"
    same "the manifest and mtools differ" "$work/wanted" "$work/list.mtools"
fi
[ $bad = 0 ] && echo "all agree: $(wc -l <"$work/list.mtools") files"
exit $bad
