// What the reader of one form of index hands to the part that all forms share: named values as they stand, each with
// its place. Readers know their syntax and the family's mapping; what a size or a digest is, is decided once, in
// release_index.cc. Internal to family/.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::family {

inline constexpr std::size_t most_pieces = 200'000;

// Faults of an index, collected in one pass; the first are named, further ones counted.
class Faults {
public:
    void add(const std::string& place, const std::string& problem);
    bool any() const { return !named_.empty(); }
    std::string problem() const;

private:
    std::vector<std::string> named_;
    std::size_t more_ = 0;
};

// plain: a text of a form that has no types (XML, tables, INI): a number or a truth is read out of it, and a list is
// written with ';' between its items.
enum class RawKind { text, number, truth, null, list, object, plain };

struct Raw {
    RawKind kind = RawKind::plain;
    std::string text;        // numbers and truths as they are written
    std::vector<Raw> items;  // of a list
    std::string place;
};

struct RawItem {
    std::string place;                               // of the item itself: "/pieces/3", "line 12"
    std::map<std::string, Raw, std::less<>> fields;  // by the mapping's keys; those the index has
    bool several_files = false;                      // the mapping names a list of files; `files` are its items
    std::vector<RawItem> files;
};

struct RawIndex {
    RawItem release;
    std::vector<RawItem> pieces;
    std::string between;  // between an item's place and what the mapping says, for naming what is missing
};

// Each adds to the faults what its syntax forbids and gives as much as could be read; a text that is not of the form
// at all is one fault. `rule` is of that form.
RawIndex read_json_index(const PackageRule& rule, std::string_view text, Faults& faults);
RawIndex read_xml_index(const PackageRule& rule, std::string_view text, Faults& faults);
RawIndex read_digest_list(const PackageRule& rule, std::string_view text, Faults& faults);
RawIndex read_table(const PackageRule& rule, std::string_view text, Faults& faults);  // csv and tsv
RawIndex read_ini_index(const PackageRule& rule, std::string_view text, Faults& faults);
RawIndex read_cyclonedx_index(const PackageRule& rule, std::string_view text, Faults& faults);

// A line "# name: value" → the release's field that the mapping calls "#name". In digest lists and tables.
void read_remark(std::string_view line, const std::string& place, const PackageRule& rule, RawItem& release,
                 Faults& faults);

// "is a list" and so on: "a number", "a text", ….
const char* words(RawKind kind);

}  // namespace fettle::family
