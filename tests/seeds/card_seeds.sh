#!/bin/bash
# Makes the seeds of the card room's fuzz targets anew, with Debian's dosfstools, mtools, fdisk and python3:
# small FAT12 cards, whole and spoiled; tables; folders of FAT16, FAT32 and exFAT; descriptions of machines.
# card_seeds.sh [a laid FAT32 image, of which the head is kept]
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

# Tables: the same cards, and a GPT whose sums and backup are right.
mkdir -p "$here/card_partition" "$here/card_folders" "$here/card_devices"
cp plain.img table.img gpt.img "$here/card_partition/"
truncate -s 80K whole-gpt.img
printf 'label: gpt\nfirst-lba: 40\nstart=40, size=80\n' | sfdisk -q whole-gpt.img
dd if=plain.img of=whole-gpt.img bs=512 seek=40 conv=notrunc status=none
truncate -s 60K four.img
printf 'start=8,size=8,type=c\nstart=20,size=8,type=7\nstart=30,size=8,type=83\nstart=40,size=8,type=5\n' | sfdisk -q --force four.img
cp whole-gpt.img four.img "$here/card_partition/"

# Folders: first byte as folders_fuzz.cc takes it, then the heap. FAT folders are cut out of the plain card; the exFAT
# sets are written here by the specification's sections 7.4, 7.6 and 7.7, without their sums (the target sets those).
python3 - "$here/card_folders" <<'P'
import struct, sys
out = sys.argv[1]
card = open('plain.img', 'rb').read()
root = card[512 * (1 + 2 * 1):]  # one reserved sector, two FATs of one sector
def keep(name, kind, heap): open(f'{out}/{name}', 'wb').write(bytes([kind]) + heap)
heap = root[:64 * 32] + b'\0' * (16 * 512 - 64 * 32) + root[64 * 32:]
keep('fat16', 0x00, heap[:12000]); keep('fat16-sums', 0x81, heap[:12000])
keep('fat32', 0x01, heap[:12000]); keep('fat32-sums', 0x82, heap[:12000])
def entry_set(name, attributes, first, size, flags):
    units = name.encode('utf-16-le')
    names = [units[i:i + 30].ljust(30, b'\0') for i in range(0, len(units), 30)]
    e = struct.pack('<BBHHH', 0x85, 1 + len(names), 0, attributes, 0) + b'\x00\x00\x21\x00' * 3 + b'\0' * 12
    e += struct.pack('<BBBBHHQIIQ', 0xC0, flags, 0, len(name), 0, 0, size, 0, first, size)
    return e + b''.join(b'\xC1\0' + n for n in names)
sets = struct.pack('<BB', 0x83, 5) + 'OWNER'.encode('utf-16-le').ljust(30, b'\0')
sets += struct.pack('<BB18xIQ', 0x81, 0, 20, 38) + struct.pack('<B3xI12xIQ', 0x82, 0, 21, 60)
sets += entry_set('release.json', 0x20, 24, 100, 1) + entry_set('A long name, with blanks.txt', 0x20, 30, 1500, 3)
sets += entry_set('folder', 0x10, 40, 512, 3)
keep('exfat-sums', 0x80, sets.ljust(38 * 512, b'\0') + entry_set('deeper.txt', 0x20, 50, 10, 3))
keep('exfat', 0x02, sets)
P
for machine in desk laptop; do cp "$here/../data/devices/$machine.txt" "$here/card_devices/"; done
