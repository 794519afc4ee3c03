// exFAT's boot regions, their checksums, and the volume flags (specification, section 3).
#include <fmt/core.h>

#include "fettle/card/audit_parts.h"
#include "fettle/card/exfat.h"

namespace fettle::card {
namespace {

constexpr const char* by_spec = "exFAT specification 3";

// The eleven sectors of a region, and whether the twelfth repeats their sum in every field.
struct Region {
    Bytes sectors;
    bool sum_holds = false;
};

std::optional<Region> read_region(BlockDevice& device, std::uint64_t at, std::uint32_t sector) {
    Region r;
    r.sectors.resize(std::uint64_t{exfat::boot_region_sectors} * sector);
    if (!device.read_at(at, r.sectors)) return std::nullopt;
    const std::size_t summed = 11 * std::size_t{sector};
    const std::uint32_t sum = exfat::boot_sum(ByteView(r.sectors).first(summed));
    r.sum_holds = true;
    for (std::size_t i = summed; i < r.sectors.size(); i += 4)
        r.sum_holds = r.sum_holds && load_le32(r.sectors, i) == sum;
    return r;
}

// Two FATs has only a variant of exFAT (TexFAT), and which counts a flag says: many readers know the first alone.
void judge_fats(AuditState& s, const Volume& v) {
    const BootSector& b = v.boot();
    const bool second = b.volume_flags & 1;
    const char* where = "boot sector, ActiveFat";
    const char* rests = "exFAT specification 3.1, NumberOfFats and ActiveFat";
    if (b.fat_copies < 2) {
        if (second)
            s.add("active-fat-wrong", Verdict::halt,
                  "The boot sector says that only FAT 2 counts, and the card has 1. Lay the card again.", where, rests);
        return;
    }
    const auto differ = first_difference(s, v, 0, 1);
    if (!differ) return;
    const std::string at = fmt::format("byte {} of FAT 2", *differ);
    if (*differ == b.fat_sectors * b.bytes_per_sector)
        s.add("exfat-second-fat", s.strictly(),
              "The card has two FATs, as only a variant of exFAT has: many readers refuse it or know the first alone. "
              "Lay "
              "it again.",
              where, rests);
    else if (second)
        s.add(
            "first-fat-stale", Verdict::halt,
            "Only FAT 2 counts, and the first says something else: common readers go by the first and get wrong bytes. "
            "Lay the card again.",
            at, rests);
    else
        s.add("fats-differ", Verdict::halt,
              "The FATs differ: which of them is right cannot be told, and a box may read either. Lay the card again.",
              at, rests);
}

}  // namespace

void audit_exfat(AuditState& s, Volume& v) {
    const BootSector& b = v.boot();
    judge_fats(s, v);
    auto main = read_region(s.device, v.at_bytes(), b.bytes_per_sector);
    const std::uint64_t region = std::uint64_t{exfat::boot_region_sectors} * b.bytes_per_sector;
    auto backup = read_region(s.device, v.at_bytes() + region, b.bytes_per_sector);
    if (!main || !backup) {
        s.add("card-read-failed", Verdict::halt, "The boot regions cannot be read to their end. Take another card.",
              "boot region", "device");
        return;
    }
    if (!main->sum_holds)
        s.add(
            "boot-sum-wrong", Verdict::halt,
            "The checksum of the boot region is wrong: a reader that follows the specification refuses this card. Lay "
            "it again.",
            "sector 11 of the volume", by_spec);
    // Volume flags and percent in use change in the first region only.
    for (const std::size_t at : {106, 107, 112}) main->sectors[at] = backup->sectors[at];
    if (!backup->sum_holds || main->sectors != backup->sectors)
        s.add("backup-boot-differs", Verdict::mind,
              "The backup boot region differs from the first: something wrote to this card after it was made. Lay it "
              "again if there is time.",
              "sector 12 of the volume", by_spec);
    if (b.volume_flags & 2)
        s.add("dirty-flag", Verdict::mind,
              "The card was pulled before it was written to the end, or not ejected. If every file is right, it will "
              "do; else "
              "lay it again.",
              "volume flags", by_spec);
    if (b.volume_flags & 4)
        s.add("hard-error-flag", Verdict::mind,
              "A system that used this card met read or write errors on it. Take another card.", "volume flags",
              by_spec);
}

}  // namespace fettle::card
