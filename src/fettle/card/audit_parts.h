// Parts of the audit that only this room uses.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/card/audit.h"
#include "fettle/card/reader.h"

namespace fettle::card {

// What the parts share: where findings go, and what was asked.
struct AuditState {
    BlockDevice& device;
    const AuditRequest& request;
    Audit out;

    const family::CardRule* rule() const {
        return request.family && request.family->card ? &*request.family->card : nullptr;
    }
    // How hard a field is judged that some readers look at: a family whose boxes are strict (it refuses foreign files)
    // is taken to be strict in this as well.
    Verdict strictly() const {
        const auto* r = rule();
        return r && r->foreign == "refused" ? Verdict::halt : Verdict::mind;
    }
    void add(std::string code, Verdict verdict, std::string text, std::string where, std::string rests_on,
             Next next = {}) {
        out.judgement.add(
            Reason{std::move(code), verdict, std::move(text), std::move(where), std::move(rests_on), std::move(next)});
    }
    // All the names of a finding whose text shows a few of them.
    void list(std::string code, std::vector<std::string> names) {
        out.lists.push_back({std::move(code), std::move(names)});
    }
};

// Table, partition and file system; the volume if there is a FAT volume to go on with. Error only if the card's first
// sector cannot be read.
Result<std::optional<Volume>> audit_table(AuditState& s);

// Whether a sector would be a partition table or a FAT boot sector, but for the mark 55 AA at its end.
bool lacks_mark_alone(ByteView sector);

// The first byte at which two copies of the FAT differ; the FAT's size where they are equal; says so where it cannot be
// read.
std::optional<std::uint64_t> first_difference(AuditState& s, const Volume& v, std::uint32_t one, std::uint32_t two);

// Boot sector, FSInfo, backup, both FATs, clusters, and the flaws met while walking.
// What stands twice on a FAT volume, or is read by some readers and not by others.
void audit_fat_fields(AuditState& s, const Volume& volume, const Listing& listing);
void audit_volume(AuditState& s, Volume& volume, const Listing& listing);

// exFAT's boot regions and volume flags.
void audit_exfat(AuditState& s, Volume& volume);

// Index, files, digests, foreign files: as the box would see it.
void audit_content(AuditState& s, Volume& volume, const Listing& listing);

// A file that the card should hold.
struct Wanted {
    std::string path;   // on the card
    std::string words;  // "piece 'maps' of the main box", "index"
    std::uint64_t size = 0;
    bool size_known = false;
    std::map<std::string, std::string> digests;
    const Node* node = nullptr;  // what stands there
    bool right = false;          // digest agreed
    bool is_index = false;
    std::string found_sha256{};  // of what stands there; empty: not digested by that
};

// Digests every wanted file that has a whole node (of the wrong size too where other releases are at hand), in the
// order they stand on the card, and reports what differs.
void audit_digests(AuditState& s, Volume& volume, std::vector<Wanted>& wanted);

// Whose leftover a name at the top of a card is ("Windows", "macOS", "a Linux desktop"); empty: nobody's known.
std::string_view leftover_of(std::string_view top_name);

// Kind of archive by its first bytes ("zip", "7z", …); empty: none known. `head` is the first 512 bytes or what there
// is.
std::string_view archive_kind(ByteView head);

// "'a', 'b', 'c' and 4 more": at most three names, made printable.
std::string some_names(const std::vector<std::string>& names);

}  // namespace fettle::card
