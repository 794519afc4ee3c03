// A TOML text as a plain tree with line numbers, so that one file alone includes the TOML library. Internal to family/.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"

namespace fettle::family {

enum class NodeKind { table, array, text, integer, real, boolean, date, other };
std::string_view words(NodeKind k);  // "a text", "a table", …

struct Node {
    std::string name;  // the key of a table's member
    NodeKind kind = NodeKind::other;
    int line = 0;      // 1-based, where the value begins
    int key_line = 0;  // where its key stands (table members)
    std::string text;  // text; a date as 2026-10-02; otherwise empty
    std::int64_t integer = 0;
    double real = 0;  // also set for an integer
    bool boolean = false;
    std::vector<Node> members;  // table; each with its name
    std::vector<Node> items;    // array

    const Node* member(std::string_view key) const;  // nullptr if there is none
};

// The bounds of what is read at all; a family file of a real unit is some 20 KB.
inline constexpr std::size_t family_file_limit_bytes = 1u << 20;

// bad_input "not-toml" with place "line N, column M" when the text is no TOML, or is too large.
Result<Node> parse_toml(std::string_view text);

// The text's lines without their ends, for whoever changes a file line by line; a last one that is empty is none.
std::vector<std::string> lines_of(std::string_view text);

}  // namespace fettle::family
