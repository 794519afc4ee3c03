// What the parts of "the card as the box would see it" share. Only this room uses it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/card/audit_parts.h"

namespace fettle::card {

inline constexpr const char* by_family = "family file";

// Nodes by their name as FAT compares it. Holds hashes, not names: a card may hold many long ones.
class Lookup {
public:
    explicit Lookup(const Listing& listing);

    const Node* at(const std::string& path) const;  // nullptr: nothing stands there
    // Path prefixes ("" or "folder/", as keys) under which a file of this path stands.
    std::vector<std::string> prefixes(const std::string& path) const;
    // Files (no folders) whose last part is this path's last part, at most 500.
    std::vector<const Node*> namesakes(const std::string& path) const;

private:
    const Listing& listing_;
    std::vector<std::pair<std::size_t, std::uint32_t>> by_name_, by_path_;  // hash of the key → node, sorted
};

struct ContentAudit {
    AuditState& s;
    Volume& volume;
    const Listing& listing;
    Lookup look;
    std::vector<bool> matched;  // by node: it belongs to the release

    std::string prefix;   // before every path of the package on the card
    std::string shift{};  // as a key: "" or "FOLDER/", where the release really stands
    bool has_index = false;
    bool none_there = false;  // nothing that is wanted stands anywhere
    bool archives_said = false;
    bool index_only_signed = false;
    std::optional<Bytes> index_bytes{};
    std::vector<Wanted> wanted{};  // the index first, if there is one

    const family::Family* family() const { return s.request.family; }
    std::string index_path() const;
    std::string on_card(const std::string& path) const { return prefix + path; }
    // The node of a path that the release names, where it really stands.
    const Node* found(const std::string& path) const { return look.at(shift + path); }
    void match(const Node& n) { matched[static_cast<std::size_t>(&n - listing.nodes.data())] = true; }
    bool is_matched(const Node& n) const { return matched[static_cast<std::size_t>(&n - listing.nodes.data())]; }
    // Decides which of the release's cards this is (audit_cards.cc), and lists what that one should hold.
    void want_pieces(const family::Release& r);
    // Of several cards with the index on the first alone: the others have none.
    bool further_card_without_index() const;
    std::string_view archive_of(const Node& n);  // its kind by its first bytes; empty: none known
};

// Which of the release's cards this is, by what stands on it: the paths in the package that it should hold. Says when
// another one is wanted, or when that cannot be told.
std::vector<std::string> choose_card(ContentAudit& c, const family::Release& r);

// Reads the index where it stands: release named, wanted pieces, other family, other or older release, a second index.
void audit_index(ContentAudit& c);
// The index's signature by the family's key.
void audit_signature(ContentAudit& c);
// What stands on the card and does not belong to the release.
void audit_foreign(ContentAudit& c);
// Two releases on one card: files that differ and are another release's.
void audit_mixed(ContentAudit& c);

std::string last_part(std::string_view path);

// The path without the marks that browsers and desktops put into a second copy's name ("release (1).json" →
// "release.json"); unchanged when there are none. Common practice, no source.
std::string without_copy_marks(std::string_view path);
// Whether the name is that of a download that was not finished ("maps.bin.part").
bool is_unfinished_download(std::string_view name);

}  // namespace fettle::card
