#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"
#include "fettle/card/gpt.h"

namespace fettle::card {
namespace {

constexpr const char* by_family = "family file";
constexpr const char* by_practice = "common practice";

std::string wanted_file_system(const family::CardRule& r) {
    return words(wanted_type(r));
}

void judge_table(AuditState& s, const Table& t) {
    const auto* rule = s.rule();
    const std::string want = rule ? rule->table : "";
    s.out.table = t.kind == TableKind::none ? "none" : t.kind == TableKind::mbr ? "mbr" : "gpt";
    if (rule ? want == s.out.table : t.kind == TableKind::mbr) return;
    const Verdict v = rule ? Verdict::halt : Verdict::mind;
    const char* rests = rule ? by_family : by_practice;
    if (t.kind == TableKind::gpt)
        s.add("gpt-table", v,
              rule ? fmt::format("The card has a GPT partition table; {} takes {}. Lay the card again.",
                                 s.request.family->id, want)
                   : "The card has a GPT partition table; many boxes only know the older MBR table. Lay it again if "
                     "the box "
                     "refuses it.",
              "sector 0", rests);
    else if (t.kind == TableKind::none)
        s.add("no-partition-table", v,
              rule ? fmt::format("The card has no partition table; {} wants {}. Lay the card again.",
                                 s.request.family->id, want)
                   : "The card has no partition table: the file system begins at sector 0, which not every box takes. "
                     "Lay it "
                     "again if the box refuses it.",
              "sector 0", rests);
    else
        s.add("mbr-table", v,
              fmt::format("The card has an MBR partition table; {} wants {}. Lay it by the maker's instructions.",
                          s.request.family->id, want),
              "sector 0", rests);
}

// Whether a GPT is whole: what reads by it may refuse one that is not, or take the other copy.
void judge_gpt(AuditState& s, const Table& t) {
    if (t.kind != TableKind::gpt) return;
    const auto state = check_gpt(s.device);
    const char* rests = "UEFI specification 2.10, section 5.3.2";
    if (!state)
        return s.add(
            "card-read-failed", Verdict::halt,
            fmt::format("The GPT cannot be read: {}. Clean the contacts and try once more; then take another card.",
                        state.error().problem),
            state.error().place.words(), "device");
    const bool taken = s.rule() && s.rule()->table == "gpt";
    if (!state->header.empty())
        s.add("gpt-header-wrong", taken ? Verdict::halt : Verdict::mind,
              fmt::format("The GPT at the card's start is damaged: {}. Lay the card again.", join(state->header, "; ")),
              "sector 1", rests);
    if (!state->backup.empty())
        s.add("gpt-backup-wrong", Verdict::mind,
              fmt::format("The GPT's backup at the card's end is not right: {}. The card or its image was cut, copied "
                          "to another size, or damaged. Lay it again.",
                          join(state->backup, "; ")),
              "last sector", rests);
}

void judge_size(AuditState& s) {
    const auto* rule = s.rule();
    if (!rule) return;
    const std::uint64_t size = s.out.card_bytes;
    if (rule->max_bytes != 0 && size > rule->max_bytes)
        s.add("card-too-large", Verdict::halt,
              fmt::format("The card holds {}; {} takes cards up to {}. Take a smaller card.", human_bytes(size),
                          s.request.family->id, human_bytes(rule->max_bytes)),
              "card size", by_family);
    if (size < rule->min_bytes)
        s.add("card-too-small", Verdict::halt,
              fmt::format("The card holds {}; {} takes cards from {}. Take a larger card.", human_bytes(size),
                          s.request.family->id, human_bytes(rule->min_bytes)),
              "card size", by_family);
}

void judge_partition(AuditState& s, const Table& t, const Partition& p) {
    if (t.partitions.size() > 1)
        s.add("second-partition", Verdict::mind,
              fmt::format("The card has {} partitions; a box may look into another than the first. Lay it again.",
                          t.partitions.size()),
              "partition table", by_practice);
    if (t.partitions.size() == 1 && p.entry != 1)
        s.add(
            "partition-not-first", s.strictly(),
            fmt::format("The card's one partition stands in entry {} of the table; a box that looks only at the first "
                        "entry finds none. Lay the card again.",
                        p.entry),
            "partition table", by_practice);
    const std::uint64_t sectors = s.out.card_bytes / sector_bytes;
    if (p.start + p.sectors > sectors)
        s.add("card-cut-short", Verdict::halt,
              fmt::format(
                  "The partition ends at sector {}, but the card has only {}: the card or its image is cut short, "
                  "or it claims more than it holds. Lay it again.",
                  p.start + p.sectors, sectors),
              "partition table", "partition table and device size");
}

void no_fat(AuditState& s, const std::string& found) {
    const auto* rule = s.rule();
    if (!rule) {
        s.add(found.empty() ? "no-file-system" : "file-system-not-read", Verdict::cant_say,
              found.empty() ? std::string("No file system that Fettle knows stands on this card. Lay it again.")
                            : fmt::format("The card carries {}; Fettle reads FAT and exFAT only, and which box it is "
                                          "for was not said. Name the "
                                          "family.",
                                          found),
              "start of the volume", "magic");
        return;
    }
    const std::string want = wanted_file_system(*rule);
    if (found.empty())
        s.add("no-file-system", Verdict::halt,
              fmt::format("No file system that Fettle knows stands on this card; {} wants {}. Lay it again.",
                          s.request.family->id, want),
              "start of the volume", by_family);
    else
        s.add(
            "wrong-file-system", Verdict::halt,
            fmt::format("The card carries {}; {} takes {} only. Lay the card again, or take a smaller card that comes "
                        "with {}.",
                        found, s.request.family->id, want, want),
            "start of the volume", by_family);
}

// All is there but the mark: some readers go without, others find nothing.
bool no_mark(AuditState& s, std::uint64_t at) {
    Bytes sector(sector_bytes);
    if (!s.device.read_at(at, sector) || !lacks_mark_alone(sector)) return false;
    s.add(
        "boot-mark-missing", Verdict::halt,
        fmt::format("{} lacks the mark 55 AA at its end: some readers go without it, others find nothing on this card. "
                    "Lay it again.",
                    at == 0 ? "The first sector" : "The boot sector"),
        fmt::format("byte {}", at + 510), "FAT specification 1.03, Boot Sector and BPB");
    return true;
}

void judge_fat_type(AuditState& s, const BootSector& b, FatType layout) {
    const auto* rule = s.rule();
    const std::uint64_t kib = std::uint64_t{b.sectors_per_cluster} * b.bytes_per_sector / 1024;
    if (layout == FatType::fat32 && b.type != FatType::fat32)
        s.add("fat32-too-few-clusters", Verdict::halt,
              fmt::format(
                  "The card is laid out as FAT32 with {} clusters of {} KiB; below 65,525 a reader that follows the "
                  "specification takes it as {}. Lay it again with smaller clusters or on a larger card.",
                  b.clusters, kib, words(b.type)),
              "boot sector", "FAT specification 1.03, FAT type determination");
    else if (layout != FatType::fat32 && b.type == FatType::fat32)
        s.add(
            "fat16-too-many-clusters", Verdict::halt,
            fmt::format("The card is laid out as FAT16, but its {} clusters make it FAT32 by the specification. Lay it "
                        "again.",
                        b.clusters),
            "boot sector", "FAT specification 1.03, FAT type determination");
    else if (rule && wanted_file_system(*rule) != words(b.type))
        s.add("wrong-file-system", Verdict::halt,
              fmt::format("The card carries {}; {} takes {} only. Lay the card again.", words(b.type),
                          s.request.family->id, wanted_file_system(*rule)),
              "boot sector", by_family);
}

void judge_exfat_wanted(AuditState& s) {
    const auto* rule = s.rule();
    if (!rule || rule->file_system == "exfat") return;
    const std::string want = wanted_file_system(*rule);
    s.add("wrong-file-system", Verdict::halt,
          fmt::format("The card carries exFAT; {} takes {} only. Lay the card again, or take a smaller card that comes "
                      "with {}.",
                      s.request.family->id, want, want),
          "start of the volume", by_family);
}

// What the table says of the volume, and what the volume says of its place.
void judge_place(AuditState& s, const Table& t, const BootSector& b, FatType layout, std::uint64_t at) {
    const Partition& p = t.partitions.front();
    if (t.kind == TableKind::mbr) {
        const bool fits = layout == FatType::exfat ? p.type == 0x07
                          : layout == FatType::fat32
                              ? p.type == 0x0B || p.type == 0x0C
                              : p.type == 0x01 || p.type == 0x04 || p.type == 0x06 || p.type == 0x0E;
        if (!fits)
            s.add("partition-type-byte", Verdict::mind,
                  fmt::format("The partition's type byte is {:02X}, which does not stand for {}; some boxes go by it. "
                              "Lay the card again if the box refuses it.",
                              p.type, words(layout)),
                  "partition table", by_practice);
    }
    if (b.total_sectors * b.bytes_per_sector > p.sectors * sector_bytes)
        s.add("volume-beyond-partition", Verdict::mind,
              "The file system says it is larger than its partition. Lay the card again if there is time.",
              "boot sector", "boot sector and partition table");
    if (b.partition_offset != 0 && b.partition_offset * b.bytes_per_sector != at)
        s.add("volume-misplaced", Verdict::mind,
              fmt::format("The file system says it starts at sector {}, the table says {}: it was copied from another "
                          "place. Lay the card again if there is time.",
                          b.partition_offset, p.start),
              "boot sector", "exFAT specification 3.1, PartitionOffset");
}

}  // namespace

Result<std::optional<Volume>> audit_table(AuditState& s) {
    s.out.card_bytes = s.device.size_bytes();
    const auto table = read_table(s.device);
    if (!table) return pass(table);
    judge_size(s);
    std::uint64_t at = 0;
    if (table->kind != TableKind::none) {
        judge_table(s, *table);
        judge_gpt(s, *table);
        if (table->partitions.empty()) {
            no_fat(s, {});
            return std::nullopt;
        }
        judge_partition(s, *table, table->partitions.front());
        at = table->partitions.front().start * sector_bytes;
    }
    const std::string found = file_system_at(s.device, at);
    if (found.empty() && no_mark(s, at)) return std::nullopt;
    s.out.file_system = found;
    if (table->kind == TableKind::none) {
        s.out.table = "none";
        if (!found.empty()) judge_table(s, *table);
    }
    if (found != "FAT" && found != "exFAT") {
        no_fat(s, found);
        return std::nullopt;
    }

    if (found == "exFAT") judge_exfat_wanted(s);
    auto volume = Volume::open_at(s.device, at);
    if (!volume && volume.error().code == "fat-type-unclear") {
        volume = Volume::open_at(s.device, at, FatType::fat32);
        if (volume && !volume->boot().wide) volume = Volume::open_at(s.device, at, FatType::fat16);
    }
    if (!volume) {
        s.add(volume.error().code == "boot-sector-wrong" ? "boot-sector-wrong" : "card-read-failed", Verdict::halt,
              fmt::format("The {} boot sector is damaged: {} {}. Lay the card again.", found,
                          volume.error().place.words(), volume.error().problem),
              volume.error().place.words(),
              found == "FAT" ? "FAT specification 1.03, boot sector" : "exFAT specification 3.1");
        return std::nullopt;
    }
    const BootSector& b = volume->boot();
    const FatType layout = b.type == FatType::exfat   ? FatType::exfat
                           : b.wide                   ? FatType::fat32
                           : b.type == FatType::fat12 ? FatType::fat12
                                                      : FatType::fat16;
    s.out.file_system = words(layout);
    if (layout != FatType::exfat) judge_fat_type(s, b, layout);
    if (table->kind != TableKind::none) judge_place(s, *table, b, layout, at);
    return std::optional<Volume>(std::move(*volume));
}

}  // namespace fettle::card
