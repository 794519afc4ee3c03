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

}  // namespace

void audit_exfat(AuditState& s, Volume& v) {
    const BootSector& b = v.boot();
    auto main = read_region(s.device, v.at_bytes(), b.bytes_per_sector);
    const std::uint64_t region = std::uint64_t{exfat::boot_region_sectors} * b.bytes_per_sector;
    auto backup = read_region(s.device, v.at_bytes() + region, b.bytes_per_sector);
    if (!main || !backup) {
        s.add("card-read-failed", Verdict::halt, "The boot regions cannot be read to their end.", "boot region",
              "device");
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
        s.add(
            "dirty-flag", Verdict::mind,
            "The card was pulled before it was written to the end, or not ejected. If every file is right, it will do.",
            "volume flags", by_spec);
    if (b.volume_flags & 4)
        s.add("hard-error-flag", Verdict::mind,
              "A system that used this card met read or write errors on it. Take another.", "volume flags", by_spec);
}

}  // namespace fettle::card
