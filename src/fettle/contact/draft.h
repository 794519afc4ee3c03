// A first family file out of what first contact found: each value with its evidence as a remark, unknown things named
// as unknown. What it writes loads without a mistake.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "fettle/contact/study.h"

namespace fettle::contact {

struct DraftInput {
    std::vector<Study> studies;              // of packages of one family; may be empty
    std::vector<std::string> plates, views;  // as read off the box, word for word
    std::string id;  // as the technician wants it; empty: from what stays the same, or a stand-in name
    // What a part of a label means: "main.part2" → "issue"; "don't know" is an answer, and is not asked again.
    std::map<std::string, std::string> means;
};

struct Draft {
    std::string toml;
    std::string level;  // "L0" or "L1": what the draft claims
    std::string id;
    std::vector<std::string> found;    // in words, each with its count
    std::vector<std::string> unknown;  // what nobody could tell from this
    struct Asked {                     // a part of a label whose meaning only a person can know; asked once
        std::string part;              // "main.part2", as `means` takes it
        std::string example;
    };
    std::vector<Asked> asked;
    bool shelf_refuses = false;              // digests of the index do not hold
    std::vector<std::string> strange_means;  // keys of `means` that no label has
};

Draft draft_family(const DraftInput& input);

// --- parts ---------------------------------------------------------------------------------------------------------

// Texts of the same shape (the same runs of digits, capitals and signs) as one pattern with a field for each run;
// `release` names the run of dotted numbers when it is asked for.
struct LabelDraft {
    std::string pattern;
    std::vector<std::string> examples;
    // One character is the ISO/IEC 7064 MOD 11-2 check over the digits of `over`: the last over all digits before it
    // (two plates bear that out), or one elsewhere, or over a stretch of the digits (then more plates are wanted).
    bool check = false;
    std::size_t check_at = 0, check_tried = 0;  // its place; how many such ways were tried
    std::size_t check_borne = 0;                // plates with different digits, which bear it out
    std::vector<std::string> over;
    std::vector<std::pair<std::string, std::string>> parts;  // field → what stands there in the first example
    std::vector<std::string> contradicts;  // of the same shape, but its check character is wrong while those of three
                                           // or more others hold: misread, or of another box
};
std::vector<LabelDraft> draft_plates(const std::vector<std::string>& plates);
// nullopt: no dotted number in a view, or the views have different shapes.
std::optional<LabelDraft> draft_view(const std::vector<std::string>& views);

// The release's scalar and, with two packages, the one that names the family; addresses in the index's form.
struct Told {
    std::string address, text, evidence;
};
std::optional<Told> release_told(const std::vector<Study>& studies);  // nullopt: none, or more than one could be
std::optional<Told> family_told(const std::vector<Study>& studies);

std::string toml_text(std::string_view text);  // quoted, any bytes

}  // namespace fettle::contact
