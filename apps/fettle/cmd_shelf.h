// fettle shelf add, list, show: the shop's library of releases.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct ShelfAddOptions {
    std::string package;    // folder, archive, or with index_only an index file
    std::string family;     // empty: the family whose package rule finds its index and name in the package
    std::string from;       // where it came from, in words; required
    std::string right;      // "maker-portal", "customer-owned", "licence", "own-work", "unknown"; required
    std::string also_seen;  // SHA-256 of the package as seen at a second source; may be empty
    bool index_only = false;
};
// A refusal is bad_input (exit 3) whose message names every finding by its code; with --json an answer that lists them
// as reasons (exit 3 all the same).
Result<Answer> shelf_add(const Context& context, const ShelfAddOptions& options);

struct ShelfListOptions {
    std::string family;             // empty: all
    std::vector<std::string> fits;  // --fits PLATE…: releases that have something for each of these boxes
    bool refused = false;           // --refused: what was refused instead
};
Result<Answer> shelf_list(const Context& context, const ShelfListOptions& options);

struct ShelfShowOptions {
    std::string release;
    std::string family;  // may be empty when the release's name is unique
    bool cyclonedx = false;
};
Result<Answer> shelf_show(const Context& context, const ShelfShowOptions& options);

}  // namespace fettle::app
