#!/bin/bash
# Cards made by stock tools (sfdisk, mkfs.fat, mcopy, mke2fs, mkfs.exfat), good and bad: the audit must find what is
# wrong, and nothing on a good one.
#
#   fat_oracles_stock.sh PROGRAM   PROGRAM: the built fat_oracles_audit
set -u
export LC_ALL=C.UTF-8 MTOOLSRC=/dev/null PATH=$PATH:/sbin:/usr/sbin
here=$(cd "$(dirname "$0")" && pwd)
program=$(readlink -f "${1:?usage: fat_oracles_stock.sh PROGRAM}")
for tool in sfdisk mkfs.fat mcopy; do command -v $tool >/dev/null || { echo "skipped: $tool is not installed"; exit 77; }; done
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
cd "$work" || exit 1
passed=0 failed=0 good=0 bad=0
"$program" package pack
"$program" package old old

# card SIZE [TABLE-LINE]: card.img with one partition from sector 2048, empty. Sparse.
start=2048
card() {
    rm -f card.img volume; truncate -s "$1" card.img
    printf '%s\n' "${2:-start=$start, type=c}" | sfdisk -q card.img
    truncate -s $(($(stat -c %s card.img) - start * 512)) volume
}
fat() { mkfs.fat "$@" volume >/dev/null 2>&1 || { echo "mkfs.fat $* failed"; failed=$((failed + 1)); }; }
files() { mcopy -s -Q -i volume "$@" ::/ </dev/null; }
# All that these tools write stands in the first 128 MiB.
put() {
    dd if=volume of=card.img bs=1M count=128 seek=$((start * 512)) oflag=seek_bytes conv=notrunc,sparse status=none
}
poke() { printf "$2" | dd of=card.img bs=1 seek="$1" conv=notrunc status=none; }
# wants NAME "VERDICT codes" ["VERDICT codes" without a family [how the family differs: strict, exfat, fat16]]
wants() {
    case $2 in fit*) good=$((good + 1)) ;; *) bad=$((bad + 1)) ;; esac
    mapfile -t said < <("$program" audit card.img ${4:-})
    if [ "${said[0]}" = "$2" ] && { [ -z "${3:-}" ] || [ "${said[1]}" = "$3" ]; }; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1)); echo "failed: $1: wanted '$2' '${3:-}', got '${said[0]}' '${said[1]:-}'"
    fi
}
unnamed="cant-say family-not-named"

for size in 512M 2G 8G; do
    for cluster in 8 32; do
        [ $size$cluster = 512M32 ] && continue # too few clusters for FAT32
        card $size; fat -F 32 -s $cluster; files pack/*; put
        wants "good, $size, $cluster sectors a cluster" "fit card-good" "$unnamed"
    done
done
card 512M "start=$start, type=b"; fat -F 32 -n DUNNOCK -s 8; files pack/*; put
wants "good, type 0B, label" "fit card-good"
card 512M; fat -F 32 -s 8; mkdir -p deep; cp -r pack "deep/release 27.3.118"; files deep/*; put
wants "one folder too deep" "halt one-folder-too-deep" "$unnamed"
python3 -c "import shutil; shutil.make_archive('dunnock', 'zip', 'pack')"
card 512M; fat -F 32 -s 8; files dunnock.zip; put
wants "archive unopened, zip" "halt archive-unopened" "cant-say archive-on-card family-not-named"
tar -czf dunnock.tgz -C pack .
card 512M; fat -F 32 -s 8; files dunnock.tgz; put
wants "archive unopened, tgz" "halt archive-unopened"
cp -r pack spoiled; printf '\x01' | dd of="spoiled/pieces/System part 3.bin" bs=1 seek=777 conv=notrunc status=none
card 512M; fat -F 32 -s 8; files spoiled/*; put
wants "one byte wrong" "halt file-differs"
cp -r pack short; truncate -s -1 "short/pieces/System part 2.bin"; rm "short/pieces/System part 0.bin"
card 512M; fat -F 32 -s 8; files short/*; put
wants "one file short, one missing" "halt file-size-differs file-missing"
cp -r pack unsigned; rm unsigned/release.sig
card 512M; fat -F 32 -s 8; files unsigned/*; put
wants "signature not copied" "halt signature-missing"
card 512M; fat -F 32 -s 8; put
wants "nothing on it" "halt index-missing"
mkdir -p "left/System Volume Information" left/.Trashes; echo x >"left/System Volume Information/IndexerVolumeGuid"; echo x >left/.Trashes/501
card 512M; fat -F 32 -s 8; files pack/* "left/System Volume Information" left/.Trashes; put
wants "desktop leftovers" "mind desktop-leftover desktop-leftover"
card 512M; fat -F 32 -s 1; files pack/*; put
wants "cluster size not taken" "halt cluster-size-not-taken"
# mtools itself takes this one for FAT16 and cannot put files on it.
card 2000000000; fat -F 32 -s 64; put
wants "32 KiB clusters on 2 GB (story 25)" "halt fat32-too-few-clusters index-missing" \
    "halt fat32-too-few-clusters family-not-named"
card 512M "start=$start, type=6"; fat -F 16; files pack/*; put
wants "FAT16" "halt wrong-file-system" "$unnamed"
card 512M "start=$start, type=7"; fat -F 32 -s 8; files pack/*; put
wants "type byte 07" "mind partition-type-byte"
rm -f card.img volume; truncate -s 512M volume; fat -F 32 -s 8; files pack/*; mv volume card.img
wants "no partition table" "halt no-partition-table" "cant-say no-partition-table family-not-named"
rm -f card.img; truncate -s 512M card.img volume
printf 'label: gpt\nstart=%s\n' $start | sfdisk -q card.img; truncate -s 510M volume; fat -F 32 -s 8; files pack/*; put
wants "GPT" "halt gpt-table" "cant-say gpt-table family-not-named"
cp --sparse=always card.img gpt.img
poke $((512 + 16)) '\x01\x02\x03\x04'
wants "GPT, its header's sum wrong" "halt gpt-table gpt-header-wrong" "cant-say gpt-table gpt-header-wrong family-not-named"
cp --sparse=always gpt.img card.img; poke $((1024 + 58)) 'X'
wants "GPT, an entry changed" "halt gpt-table gpt-header-wrong"
cp --sparse=always gpt.img card.img; poke $((512 * 1024 * 1024 - 512 + 40)) 'X'
wants "GPT, its backup's header changed" "halt gpt-table gpt-backup-wrong"
cp --sparse=always gpt.img card.img; truncate -s 520M card.img
wants "GPT, copied to a larger card" "halt gpt-table gpt-backup-wrong" "cant-say gpt-table gpt-backup-wrong family-not-named"
rm gpt.img
card 512M "$(printf 'start=%s, size=900000, type=c\ntype=83' $start)"; truncate -s $((900000 * 512)) volume; fat -F 32 -s 8; files pack/*; put
wants "second partition" "mind second-partition"
card 512M; fat -F 32 -s 8; files pack/*; put; truncate -s 400M card.img
wants "image cut short" "halt card-cut-short"
card 512M; fat -F 32 -s 8; files pack/*; put; poke $((start * 512 + 65)) '\x01'
wants "pulled without ejecting" "mind dirty-flag"
card 40G; fat -F 32 -s 32; files pack/*; put
wants "card too large" "halt card-too-large"
rm -f card.img; truncate -s 512M card.img
wants "empty card" "halt no-file-system"
if command -v mkfs.exfat >/dev/null; then
    card 64G "start=$start, type=7"; mkfs.exfat volume >/dev/null 2>&1; put
    wants "exFAT on 64 GB (story 26)" "halt card-too-large wrong-file-system index-missing" "$unnamed"
fi
if command -v mke2fs >/dev/null; then
    for kind in ext2 ext3 ext4; do
        card 512M "start=$start, type=83"; mke2fs -q -t $kind volume; put
        wants "$kind" "halt wrong-file-system" "cant-say file-system-not-read"
    done
fi
if command -v parted >/dev/null; then
    rm -f card.img volume; truncate -s 1G card.img
    parted -s card.img mklabel msdos mkpart primary fat32 4MiB 100% 2>/dev/null; start=8192
    truncate -s $((1024 * 1024 * 1024 - start * 512)) volume; fat -F 32 -s 8; files pack/*; put
    wants "good, parted's table" "fit card-good" "$unnamed"
    start=2048
fi
card 256M "start=$start, type=6"; fat -F 16 -s 16; files pack/*; put
wants "good, FAT16 for a family that asks for it" "fit card-good" "" fat16
if command -v mkfs.exfat >/dev/null; then
    # No stock tool writes files into exFAT without mounting it: an empty one, whose structure must be good.
    card 1G "start=$start, type=7"; mkfs.exfat volume >/dev/null 2>&1; put
    wants "exFAT, nothing on it" "halt index-missing" "$unnamed" exfat
    poke $((start * 512 + 106)) '\x02'
    wants "exFAT, pulled without ejecting" "halt dirty-flag index-missing" "" exfat
    poke $((start * 512 + 106)) '\x00'; poke $((start * 512 + 200)) '\x77'
    wants "exFAT, boot region spoiled" "halt boot-sum-wrong backup-boot-differs index-missing" "" exfat
    card 1G "start=$start, type=c"; mkfs.exfat volume >/dev/null 2>&1; put
    wants "exFAT, type byte of FAT32" "halt partition-type-byte index-missing" "" exfat
fi
# changed: a copy of the package to change; laid: it goes on a good card
changed() { rm -rf other; cp -r pack other; }
laid() { card 512M; fat -F 32 -s 8; (shopt -s dotglob; files other/*); put; }
changed; mv other/release.json "other/release (1).json"; laid
wants "the index under a browser's copy name" "halt copy-name"
changed; mv other/release.json other/RELEASE.JSON; laid
wants "wrong case" "mind wrong-case"
changed; cp other/release.json "other/release - Copy.json"; echo x >other/maps.bin.crdownload; echo x >other/notes.txt; laid
wants "a second copy, a broken-off download, a note" "mind copy-name download-unfinished foreign-file"
wants "the same, listed strictly" "halt copy-name download-unfinished foreign-file" "" strict
for name in "System Volume Information/IndexerVolumeGuid" ".Spotlight-V100/store" ".Trash-1000/info"; do
    changed; mkdir -p "other/${name%/*}"; echo x >"other/$name"; laid
    wants "left by a desktop: ${name%/*}" "mind desktop-leftover"
    wants "left by a desktop: ${name%/*}, listed strictly" "halt desktop-leftover" "" strict
done
changed; cp "old/pieces/System part 2.bin" other/pieces/; laid
wants "two releases mixed" "halt file-differs releases-mixed"
rm -rf other; cp -r old other; laid
wants "stale release" "mind stale-release"
changed; mkdir other/before; cp old/release.json other/before/; laid
wants "a second index" "mind second-index foreign-file"
changed; echo x >"other/$(printf 'n%.0s' $(seq 130))"; laid
wants "a path too long" "halt path-too-long-on-card foreign-file"
changed; mv other/release.sig other/pieces/; laid
wants "signature in the wrong folder" "halt signature-missing foreign-file"

# Structure, spoiled in place.
changed; laid; mv card.img whole.img
while read -r what codes; do
    cp --sparse=always whole.img card.img
    /usr/bin/python3 "$here/fat_spoil.py" "$what" card.img || { echo "failed: spoiling $what"; failed=$((failed + 1)); }
    wants "spoiled: $what" "$codes"
done <<'END'
circular halt chain-circular lost-clusters file-broken-on-card
crossed halt chain-crossed chain-short lost-clusters file-broken-on-card file-broken-on-card
short halt chain-short lost-clusters file-broken-on-card
free halt fsinfo-wrong clusters-broken lost-clusters file-broken-on-card
range halt clusters-broken lost-clusters file-broken-on-card
long mind fsinfo-wrong chain-long
bad mind fsinfo-wrong bad-clusters
lost mind fsinfo-wrong lost-clusters
differ halt fats-differ
media halt fat-media-byte
error mind hard-error-flag
sum halt name-damaged file-missing foreign-file
twice halt long-name-sum name-twice file-missing foreign-file
dots mind folder-damaged
backup mind backup-boot-differs
info mind fsinfo-wrong
mark mind fsinfo-wrong
off mind mirroring-off
stale halt first-fat-stale
active halt active-fat-wrong
version halt fat-version
slot mind partition-not-first
label mind second-label
per halt boot-sector-wrong
ntfs halt wrong-file-system
END
echo "$passed passed, $failed failed: $bad bad cards, $good good ones"
[ $failed = 0 ] && [ $bad -ge 30 ]
