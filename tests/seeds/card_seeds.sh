#!/bin/bash
# Makes the seeds of the card room's fuzz targets anew, with Debian's dosfstools, mtools, fdisk and python3:
# small FAT12 cards, whole and spoiled. card_seeds.sh [a laid FAT32 image, of which the head is kept]
set -eu
export MTOOLSRC=/dev/null PATH=$PATH:/sbin:/usr/sbin
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
mkdir -p tree/folder/deeper
printf '{"family": "dunnock", "release": "27.3.118", "pieces": []}' >tree/release.json
head -c 64 /dev/zero >tree/release.sig
seq 300 >'tree/folder/A long name, with blanks.txt'
seq 40 >tree/folder/deeper/SHORT.TXT
: >tree/empty

mkfs.fat -F 12 -s 1 -r 64 -R 1 -C plain.img 40 >/dev/null
mcopy -s -i plain.img tree/* ::/
cp plain.img circular.img
cp plain.img crossed.img
cp plain.img names.img
python3 - <<'P'
import re
def fat(b, c, v):
    at = 512 + c + c // 2
    old = b[at] | b[at + 1] << 8
    new = (old & 15) | v << 4 if c & 1 else (old & 0xF000) | v
    b[at], b[at + 1] = new & 255, new >> 8
b = bytearray(open('circular.img', 'rb').read()); fat(b, 4, 4); fat(b, 5, 4); open('circular.img', 'wb').write(b)
b = bytearray(open('crossed.img', 'rb').read()); fat(b, 2, 5); fat(b, 3, 5); open('crossed.img', 'wb').write(b)
b = bytearray(open('names.img', 'rb').read())
for m in re.finditer(b'\x0f\x00', bytes(b)): b[m.start() + 2] ^= 1
open('names.img', 'wb').write(b)
P
head -c 9000 plain.img >cut.img
truncate -s 60K table.img
echo 'start=8, type=1' | sfdisk -q table.img
dd if=plain.img of=table.img bs=512 seek=8 conv=notrunc status=none
cp table.img gpt.img
printf '\xee' | dd of=gpt.img bs=1 seek=450 conv=notrunc status=none
mkdir deep && cp -r tree deep/extra
mkfs.fat -F 12 -s 1 -r 64 -R 1 -C too-deep.img 40 >/dev/null
mcopy -s -i too-deep.img deep/* ::/
for target in card_reader card_audit; do
    mkdir -p "$here/$target"
    cp plain.img circular.img crossed.img names.img cut.img table.img gpt.img too-deep.img "$here/$target/"
    [ -z "${1:-}" ] || head -c 60000 "$1" >"$here/$target/fat32-head.img"
done
