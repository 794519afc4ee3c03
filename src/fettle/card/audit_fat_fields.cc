// What stands twice on a FAT volume, or is read by some readers and not by others: the copies of the FAT and which of
// them counts, FSInfo, the backup boot sector, the version, the labels. A card on which two common readers get other
// bytes is no good card, whichever of them is right.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/card/audit_parts.h"

namespace fettle::card {
namespace {

constexpr const char* by_spec = "FAT specification 1.03";

// With mirroring off the specification goes by the copy that is named. mtools does; fsck.fat and sleuthkit read the
// first (tried with mtools 4.0.32, dosfstools 4.2, sleuthkit 4.11 on one card). Where the two hold the same, all read
// the same.
void judge_active_fat(AuditState& s, const Volume& v) {
    const BootSector& b = v.boot();
    const std::uint32_t named = b.ext_flags & 0x0Fu;
    const char* where = "boot sector, BPB_ExtFlags";
    if (named >= b.fat_copies)
        return s.add(
            "active-fat-wrong", Verdict::halt,
            fmt::format("The boot sector says that only FAT {} counts, and the card has {}. Lay the card again.",
                        named + 1, b.fat_copies),
            where, by_spec);
    if (named != 0) {
        const auto differ = first_difference(s, v, 0, named);
        if (!differ) return;
        if (*differ < b.fat_sectors * b.bytes_per_sector)
            return s.add("first-fat-stale", Verdict::halt,
                         fmt::format("Only FAT {} is kept up, and the first says something else: common readers go by "
                                     "the first and get wrong bytes. Lay the card again.",
                                     named + 1),
                         fmt::format("byte {} of the FAT", *differ), by_spec);
    }
    s.add("mirroring-off", Verdict::mind,
          fmt::format(
              "Only FAT {} of {} is kept up on this card: the next system that writes to it makes readers differ. "
              "Lay the card again if there is time.",
              named + 1, b.fat_copies),
          where, by_spec);
}

void judge_fat_copies(AuditState& s, const Volume& v) {
    const BootSector& b = v.boot();
    if (b.ext_flags & 0x80) return judge_active_fat(s, v);
    for (std::uint32_t copy = 1; copy < b.fat_copies; ++copy) {
        const auto differ = first_difference(s, v, 0, copy);
        if (!differ) return;
        if (*differ < b.fat_sectors * b.bytes_per_sector)
            return s.add("fats-differ", Verdict::halt,
                         "The FATs differ: which of them is right cannot be told, and a box may read either. Lay the "
                         "card again.",
                         fmt::format("byte {} of FAT {}", *differ, copy + 1), by_spec);
    }
}

void judge_info(AuditState& s, const Volume& v, const Listing& listing) {
    const BootSector& b = v.boot();
    const auto wrong = [&](std::string text) {
        s.add("fsinfo-wrong", Verdict::mind, std::move(text) + " Lay the card again if there is time.", "FSInfo sector",
              by_spec);
    };
    if (b.fsinfo_sector == 0 || b.fsinfo_sector == 0xFFFF) return;  // the volume has none
    if (b.fsinfo_sector >= b.reserved)
        return wrong(fmt::format("The FSInfo sector is said to be sector {}, behind the {} reserved ones.",
                                 b.fsinfo_sector, b.reserved));
    Bytes sector(sector_bytes);
    if (!s.device.read_at(v.at_bytes() + std::uint64_t{b.fsinfo_sector} * b.bytes_per_sector, sector)) return;
    const std::uint32_t free = load_le32(sector, 488);
    if (load_le32(sector, 0) != 0x41615252 || load_le32(sector, 484) != 0x61417272)
        wrong("The FSInfo sector lacks its marks; readers may do without it.");
    else if (load_le32(sector, 508) != 0xAA550000)
        wrong("The FSInfo sector lacks the mark 55 AA at its end, which some readers look for.");
    else if (free != 0xFFFFFFFF && listing.counted && free != listing.clusters_free)
        wrong(fmt::format("FSInfo counts {} free clusters, the FAT has {}; it is only a hint to readers.", free,
                          listing.clusters_free));
}

void judge_backup(AuditState& s, const Volume& v) {
    const BootSector& b = v.boot();
    Bytes sector(sector_bytes), other(sector_bytes);
    if (b.backup_sector == 0 || b.backup_sector >= b.reserved || !s.device.read_at(v.at_bytes(), sector) ||
        !s.device.read_at(v.at_bytes() + std::uint64_t{b.backup_sector} * b.bytes_per_sector, other))
        return;
    sector[65] = other[65];  // the flag byte changes in the first copy only
    if (sector != other)
        s.add("backup-boot-differs", Verdict::mind,
              "The backup boot sector differs from the first: something wrote to this card after it was made. Lay it "
              "again if "
              "there is time.",
              fmt::format("sector {} of the volume", b.backup_sector), by_spec);
}

}  // namespace

std::optional<std::uint64_t> first_difference(AuditState& s, const Volume& v, std::uint32_t one, std::uint32_t two) {
    const BootSector& b = v.boot();
    const std::uint64_t size = b.fat_sectors * b.bytes_per_sector;
    const std::uint64_t fats = v.at_bytes() + std::uint64_t{b.reserved} * b.bytes_per_sector;
    Bytes left, right;
    for (std::uint64_t at = 0; at < size; at += left.size()) {
        left.resize(std::min<std::uint64_t>(256u << 10, size - at));
        right.resize(left.size());
        if (!s.device.read_at(fats + one * size + at, left) || !s.device.read_at(fats + two * size + at, right)) {
            s.add("card-read-failed", Verdict::halt, "The FATs cannot be read to their end. Take another card.", "FAT",
                  "device");
            return std::nullopt;
        }
        if (left != right)
            return at + static_cast<std::uint64_t>(std::mismatch(left.begin(), left.end(), right.begin()).first -
                                                   left.begin());
    }
    return size;
}

void audit_fat_fields(AuditState& s, const Volume& v, const Listing& listing) {
    const BootSector& b = v.boot();
    if (b.wide) {
        if (b.version != 0)
            s.add(
                "fat-version", Verdict::halt,
                fmt::format("The file system says that it is FAT32 version {}.{}; only 0.0 is specified, and a reader "
                            "that goes by the specification refuses it. Lay the card again.",
                            b.version >> 8, b.version & 0xFF),
                "boot sector, BPB_FSVer", by_spec);
        judge_info(s, v, listing);
        judge_backup(s, v);
    }
    judge_fat_copies(s, v);
    if (listing.labels > 1)
        s.add("second-label", s.strictly(),
              fmt::format("The top folder has {} volume labels, one is allowed: something else than a common system "
                          "wrote to this card. Lay it again if there is time.",
                          listing.labels),
              "top folder", by_spec);
}

}  // namespace fettle::card
