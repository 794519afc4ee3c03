// Auditing a card: every finding in one pass, read-only, and one sentence on top.
//
// First the structure (table, boot sector, FATs, folders) by the FAT specification, then the card as the box of a
// family would see it (index, files, digests, foreign files) by the family file. Without a family the second half is
// "can't say". Reason codes are listed in docs/reasons.md and explained in docs/card.md.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/card/block_device.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::card {

struct AuditRequest {
    const family::Family* family = nullptr;                      // nullptr: not known
    const family::Release* release = nullptr;                    // nullptr: against the card's own index
    std::vector<const family::Release*> others;                  // known besides: whose is a file that differs?
    std::function<void(std::uint64_t, std::uint64_t)> progress;  // bytes done, bytes in all
    unsigned card = 0;  // which of several cards of the release is wanted; 0: whichever this one is
    UnixMs now = 0;     // for the dates of the maker's certificates
};

// The whole of what a finding's text shows three of.
struct NamedList {
    std::string code;
    std::vector<std::string> names;
};

// A file whose digest is not the one wanted.
struct Differing {
    std::string path, algorithm, found, wanted;
};

struct Audit {
    Judgement judgement;                   // never empty: a good card has `card-good`
    std::string sentence;                  // what a technician would say, one sentence
    std::vector<std::string> not_checked;  // what this audit did not look at, and why

    std::vector<NamedList> lists;
    std::vector<Differing> differing;

    std::string table;        // "mbr", "gpt", "none"
    std::string file_system;  // "FAT32", "exFAT", …; empty: none known
    std::string label;
    std::string serial;  // "1A2B-3C4D"; empty without a FAT volume
    std::uint64_t card_bytes = 0;
    std::uint64_t cluster_bytes = 0;
    std::uint64_t clusters = 0;
    std::uint64_t files = 0;          // on the card
    std::uint64_t files_matched = 0;  // of the release, with the right digest
    std::uint64_t files_wanted = 0;   // that the release names
    std::uint64_t bytes_read = 0;     // of file content

    std::string release;               // that the card's index names; empty: no index read
    std::string family;                // whose index it is; empty: no index read
    std::vector<std::string> markets;  // that the index names; empty: it does not say, or no index read
    std::string index_sha256;          // of the index on the card
    unsigned card = 1;                 // which of the release's cards this is, by what stands on it
    unsigned cards = 1;                // that the release takes; 0: not known

    Verdict verdict() const { return judgement.verdict(); }
};

// The sentence on top: the finding that explains most, and how many more there are.
std::string sentence_of(const Judgement& judgement);

// Outside errors only when the card's first sector cannot be read at all; everything else is a finding.
Result<Audit> audit(BlockDevice& device, const AuditRequest& request = {});

}  // namespace fettle::card
