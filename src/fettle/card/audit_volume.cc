#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"

namespace fettle::card {
namespace {

constexpr const char* by_spec = "FAT specification 1.03";
constexpr std::size_t most_of_a_kind = 8;  // findings of one kind that are listed one by one

const char* spec_of(const Volume& v) {
    return v.read_as() == FatType::exfat ? "exFAT specification" : by_spec;
}

void judge_clusters(AuditState& s, const BootSector& b) {
    const std::uint64_t bytes = b.cluster_bytes();
    const bool fat = b.type != FatType::exfat;
    const auto near = [&](std::uint64_t border) { return fat && b.clusters + 16 > border && b.clusters < border + 16; };
    if (near(4085) || near(65525))
        s.add(
            "cluster-count-near-limit", Verdict::mind,
            fmt::format("The card has {} clusters, within 16 of the border between two FAT types: a reader that counts "
                        "slightly differently takes it for another. Lay it again.",
                        b.clusters),
            "boot sector", by_spec);
    const auto* rule = s.rule();
    // What cluster sizes it takes of another file system, the family does not say.
    const bool wanted = rule && words(wanted_type(*rule)) == s.out.file_system;
    if (wanted && !rule->cluster_kib.empty() &&
        std::none_of(rule->cluster_kib.begin(), rule->cluster_kib.end(),
                     [&](auto k) { return std::uint64_t{k} * 1024 == bytes; })) {
        std::vector<std::string> sizes;
        for (const auto k : rule->cluster_kib) sizes.push_back(std::to_string(k));
        s.add("cluster-size-not-taken", Verdict::halt,
              fmt::format("The card has clusters of {} bytes; {} takes {} KiB. Lay it again.", bytes,
                          s.request.family->id, join(sizes, ", ")),
              "boot sector", "family file");
    } else if (fat && bytes > 32768) {
        s.add("cluster-size-large", Verdict::mind,
              fmt::format(
                  "The card has clusters of {} bytes; more than 32 KiB is outside the specification. Lay it again with "
                  "smaller ones.",
                  bytes),
              "boot sector", by_spec);
    }
    if (b.bytes_per_sector != sector_bytes)
        s.add("sector-size", Verdict::mind,
              fmt::format("The file system counts in sectors of {} bytes; many boxes only know 512. Lay it again if "
                          "the box refuses "
                          "it.",
                          b.bytes_per_sector),
              "boot sector", "common practice");
}

void judge_length(AuditState& s, const Volume& v, const Listing& listing) {
    const BootSector& b = v.boot();
    const std::uint64_t end = v.at_bytes() + b.total_sectors * b.bytes_per_sector;
    const bool said = std::any_of(s.out.judgement.reasons.begin(), s.out.judgement.reasons.end(),
                                  [](const Reason& r) { return r.code == "card-cut-short"; });
    const bool used = std::any_of(listing.flaws.begin(), listing.flaws.end(),
                                  [](const Flaw& f) { return f.kind == FlawKind::past_the_end; });
    if (end > s.out.card_bytes && !said)
        s.add("card-cut-short", Verdict::halt,
              fmt::format(
                  "The file system ends at byte {}, but the card has only {}: the card or its image is cut short. "
                  "Lay it again.",
                  end, s.out.card_bytes),
              "boot sector", "boot sector and device size");
    if (used)
        for (const auto& f : listing.flaws)
            if (f.kind == FlawKind::past_the_end) {
                s.add("data-past-end", Verdict::halt,
                      fmt::format("'{}' {}: its bytes are not there. Lay it again on a card that is large enough.",
                                  printable(f.path), f.text),
                      f.path, "FAT and device size");
                break;
            }
}

void judge_flags(AuditState& s, Volume& v) {
    const BootSector& b = v.boot();
    bool dirty = false, hard_error = false;
    Bytes sector(sector_bytes);
    const bool boot_read = s.device.read_at(v.at_bytes(), sector).has_value();
    // FAT[0] is the media byte and ones; mtools refuses a card whose first three bytes are others.
    Bytes head(3);
    if (boot_read && s.device.read_at(v.at_bytes() + std::uint64_t{b.reserved} * b.bytes_per_sector, head) &&
        (head[0] != sector[21] || head[1] != 0xFF || head[2] != 0xFF))
        s.add(
            "fat-media-byte", Verdict::halt,
            fmt::format("The FAT begins with {:02X} {:02X} {:02X}, and should with {:02X} FF FF: some readers take the "
                        "card for unformatted then. Lay it again.",
                        head[0], head[1], head[2], sector[21]),
            "FAT entry 0", by_spec);
    if (b.wide || b.type != FatType::fat12) {
        if (const auto one = v.fat_entry(1)) {
            dirty = !(*one & (b.wide ? 0x08000000u : 0x8000u));
            hard_error = !(*one & (b.wide ? 0x04000000u : 0x4000u));
        }
    }
    // Common desktop systems keep the same flag in bit 0 of the boot sector's reserved byte [common practice].
    if (boot_read) dirty = dirty || (sector[b.wide ? 65 : 37] & 1);
    if (dirty)
        s.add("dirty-flag", Verdict::mind,
              "The card was pulled before it was written to the end, or not ejected. If every file is right, it will "
              "do; else "
              "lay it again.",
              "FAT entry 1", by_spec);
    if (hard_error)
        s.add("hard-error-flag", Verdict::mind,
              "A system that used this card met read or write errors on it. Take another card.", "FAT entry 1",
              by_spec);
}

struct FlawWords {
    const char* code;
    Verdict verdict;
    const char* next = " Lay the card again.";
};

FlawWords words_of(FlawKind k) {
    static constexpr const char* in_time = " Lay the card again if there is time.";
    switch (k) {
        case FlawKind::chain_crossed: return {"chain-crossed", Verdict::halt};
        case FlawKind::chain_circular: return {"chain-circular", Verdict::halt};
        case FlawKind::chain_short: return {"chain-short", Verdict::halt};
        case FlawKind::chain_long: return {"chain-long", Verdict::mind, in_time};
        case FlawKind::chain_broken: return {"clusters-broken", Verdict::halt};
        case FlawKind::past_the_end: return {"data-past-end", Verdict::halt};
        case FlawKind::bad_name: return {"name-damaged", Verdict::mind, in_time};
        case FlawKind::long_name_sum: return {"long-name-sum", Verdict::mind, in_time};
        case FlawKind::bad_folder: return {"folder-damaged", Verdict::mind, in_time};
        case FlawKind::name_twice: return {"name-twice", Verdict::halt};
        case FlawKind::set_damaged: return {"entry-set-damaged", Verdict::halt};
        case FlawKind::name_hash: return {"name-hash-wrong", Verdict::halt};
        case FlawKind::system_damaged: return {"exfat-tables-damaged", Verdict::halt};
        case FlawKind::too_many:
            return {"not-all-read", Verdict::cant_say, " A card with a release has no need of that."};
        case FlawKind::unreadable: break;
    }
    return {"card-read-failed", Verdict::halt, " Take another card."};
}

void judge_flaws(AuditState& s, const Volume& v, const Listing& listing) {
    std::map<FlawKind, std::vector<const Flaw*>> by_kind;
    for (const auto& f : listing.flaws)
        if (f.kind != FlawKind::past_the_end) by_kind[f.kind].push_back(&f);  // said by judge_length
    for (const auto& [kind, flaws] : by_kind) {
        const auto [code, verdict, next] = words_of(kind);
        for (std::size_t i = 0; i < std::min(flaws.size(), most_of_a_kind); ++i) {
            const Flaw& f = *flaws[i];
            const std::string who = f.path.empty() ? "The volume" : "'" + printable(f.path) + "'";
            s.add(code, verdict, who + " " + f.text + "." + next, f.path, spec_of(v));
        }
        if (flaws.size() > most_of_a_kind) {
            std::vector<std::string> paths;
            for (const Flaw* f : flaws) paths.push_back(f->path);
            s.list(code, std::move(paths));
        }
        if (flaws.size() > most_of_a_kind)
            s.add(code, verdict, fmt::format("{} more places are like that.{}", flaws.size() - most_of_a_kind, next),
                  flaws[most_of_a_kind]->path, spec_of(v));
    }
    if (listing.flaws_left_out > 0)
        s.add(
            "not-all-read", Verdict::cant_say,
            fmt::format("{} further findings of structure were not kept. Lay the card again.", listing.flaws_left_out),
            "", spec_of(v));
    if (listing.clusters_lost > 0)
        s.add("lost-clusters", Verdict::mind,
              fmt::format("{} clusters are marked used and belong to no file: something was broken off on this card. "
                          "Lay it again if "
                          "there is time.",
                          listing.clusters_lost),
              v.read_as() == FatType::exfat ? "bitmap" : "FAT", spec_of(v));
    if (listing.clusters_unmarked > 0)
        s.add("clusters-unmarked", Verdict::mind,
              fmt::format("{} clusters of files are marked free in the allocation bitmap: the next thing written to "
                          "this card destroys them. Lay it again.",
                          listing.clusters_unmarked),
              "bitmap", spec_of(v));
    if (listing.clusters_bad > 0)
        s.add("bad-clusters", Verdict::mind,
              fmt::format("{} clusters are marked bad: a system met places on this card that it could not use. Take "
                          "another card.",
                          listing.clusters_bad),
              "FAT", spec_of(v));
}

}  // namespace

void audit_volume(AuditState& s, Volume& volume, const Listing& listing) {
    const BootSector& b = volume.boot();
    s.out.cluster_bytes = b.cluster_bytes();
    s.out.clusters = b.clusters;
    s.out.label = listing.label.empty() && b.label != "NO NAME" ? b.label : listing.label;
    s.out.serial = fmt::format("{:04X}-{:04X}", b.serial >> 16, b.serial & 0xFFFF);
    judge_clusters(s, b);
    judge_length(s, volume, listing);
    if (volume.read_as() == FatType::exfat) {
        audit_exfat(s, volume);
    } else {
        judge_flags(s, volume);
        audit_fat_fields(s, volume, listing);
    }
    judge_flaws(s, volume, listing);
}

}  // namespace fettle::card
