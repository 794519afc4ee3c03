// First contact with a package of an unknown family: which of its texts is the index, which of its fields are paths,
// sizes and digests of files, and how the digests are made. Found by what values equal, never by what fields are
// called. Everything is said with its count; what is not recognised is said to be unknown.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fettle/contact/evidence.h"
#include "fettle/contact/forms.h"
#include "fettle/shelf/package.h"

namespace fettle::contact {

// How a digest is made: of what bytes of the file, by what algorithm, written how.
struct Making {
    std::string algorithm, encoding;
    enum class Of { whole, without_head, first_block, blocks } of = Of::whole;
    std::uint64_t bytes = 0;    // of the head, or of a block
    std::string words() const;  // "SHA-1, hex", "SHA-256, base64, without its first 64 bytes"
};

struct Counted {  // of `looked_at` files that the records name, `agree`
    std::size_t agree = 0, looked_at = 0;
    bool all() const { return looked_at > 0 && agree == looked_at; }
};

struct DigestField {
    std::string field;
    std::optional<Making> making;     // nullopt: in none of the ways tried did any agree
    Counted sample;                   // on up to 20 files
    std::optional<Counted> over_all;  // of the index's own field alone
    std::vector<std::string> wrong;   // over all: the first paths whose digest does not agree
};

struct Index {
    std::size_t member = 0;
    std::string path, form;
    char separator = ',';
    bool headless = false;
    Table table;                  // its records name the files
    std::vector<Scalar> scalars;  // of the same text; in a table too what every record says alike
    std::optional<Table> parent;  // of a list within each record of another: the other
    std::string text;             // of the best index alone
    std::string path_field;
    Via via = Via::path;                            // the weakest way by which a record led to a file
    std::vector<std::optional<std::size_t>> files;  // for each record, the member
    std::size_t named = 0;                          // records that lead to a file
    std::size_t covered = 0;                        // different files
    std::string size_field;                         // empty: none
    Counted sizes;
    std::vector<DigestField> digests;  // best first
    std::vector<std::string> version_fields, unique_fields, constant_fields, other_fields;
};

struct Study {
    std::string name;  // of the package: folder or archive, without the endings of archives
    std::size_t files = 0, texts = 0;
    std::uint64_t bytes = 0, largest = 0;
    std::string largest_path, longest_path;
    std::size_t deepest = 0;
    std::vector<Index> indexes;              // best first; empty: none recognised
    std::vector<std::string> not_read;       // texts left out, with why: "list.json (200 MB): larger than 32 MiB"
    std::vector<std::string> disagreements;  // between candidate indexes
    std::size_t outside = 0;                 // files that the best index does not name, besides itself
    std::vector<std::string> outside_first;  // the first of them: "release.sig (64 bytes)"
};

// Reads heads of all files, small texts whole, up to 20 files for the hunt and then, if the index gives digests, every
// file that it names, once. bad_input as the package gives it.
Result<Study> study(shelf::Package& package, const std::string& name);

}  // namespace fettle::contact
