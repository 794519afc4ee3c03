#include "fettle/family/edit.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/family/toml_tree.h"

namespace fettle::family {
namespace {

// Where the value that begins at `from` ends on its line (behind it: blanks and a remark); npos: not on this line.
std::size_t end_of_value(std::string_view line, std::size_t from) {
    int depth = 0;
    std::size_t end = from;
    for (std::size_t i = from; i < line.size(); ++i) {
        const char c = line[i];
        if (c == '"' || c == '\'') {
            if (line.substr(i, 3) == std::string(3, c)) return std::string_view::npos;  // a text of several lines
            for (++i; i < line.size() && line[i] != c; ++i)
                if (c == '"' && line[i] == '\\') ++i;
            if (i >= line.size()) return std::string_view::npos;
        } else if (c == '[' || c == '{') {
            ++depth;
        } else if (c == ']' || c == '}') {
            --depth;
        } else if (c == '#') {
            break;
        }
        if (line[i] != ' ' && line[i] != '\t' && line[i] != '\r') end = i + 1;
    }
    return depth == 0 ? end : std::string_view::npos;
}

// "key = value" on this line, with nothing but blanks before: where the value begins; npos: something else.
std::size_t value_on(std::string_view line, std::string_view key) {
    std::size_t at = std::min(line.find_first_not_of(" \t"), line.size());
    if (line.substr(at, key.size()) != key) return std::string_view::npos;
    at = line.find_first_not_of(" \t", at + key.size());
    if (at == std::string_view::npos || line[at] != '=') return std::string_view::npos;
    return line.find_first_not_of(" \t", at + 1);
}

tl::unexpected<Error> by_hand(int line, const std::string& key) {
    return bad_input("edit-by-hand", fmt::format("line {}", line),
                     fmt::format("\"{}\" is not written as one line key = value, so nothing is changed there", key),
                     "change it by hand, or write it on one line");
}

}  // namespace

Result<std::string> set_value(std::string_view toml, const ValueEdit& edit) {
    const auto tree = parse_toml(toml);
    if (!tree) return pass(tree);
    const Node* at = tree->member(edit.section);
    if (at && edit.item >= 0)
        at = static_cast<std::size_t>(edit.item) < at->items.size() ? &at->items[static_cast<std::size_t>(edit.item)]
                                                                    : nullptr;
    if (!at || at->kind != NodeKind::table)
        return bad_input("edit-by-hand", edit.section, "has no such section", "look at the file");
    std::vector<std::string> lines = lines_of(toml);
    const bool last_ends = toml.empty() || toml.back() == '\n';
    const auto line = [&](int n) -> std::string& { return lines[static_cast<std::size_t>(n) - 1]; };
    const auto there = [&](int n) { return n >= 1 && static_cast<std::size_t>(n) <= lines.size(); };
    if (const Node* old = at->member(edit.key)) {
        if (!there(old->key_line)) return by_hand(old->key_line, edit.key);
        std::string& l = line(old->key_line);
        const std::size_t from = value_on(l, edit.key);
        const std::size_t end = from == std::string::npos ? from : end_of_value(l, from);
        if (end == std::string::npos) return by_hand(old->key_line, edit.key);
        l.replace(from, end - from, edit.value);
    } else {
        // Behind the last key of the section's own; sub-sections come later.
        int last = at->line;
        for (const Node& m : at->members) {
            if (!there(m.key_line)) continue;
            const std::size_t from = value_on(line(m.key_line), m.name);
            if (from == std::string::npos) continue;
            if (end_of_value(line(m.key_line), from) == std::string::npos) continue;
            last = std::max(last, m.key_line);
        }
        if (!there(last)) return by_hand(last, edit.key);
        const bool carriage = line(last).ends_with('\r');
        std::string added = fmt::format("{} = {}", edit.key, edit.value);
        if (!edit.remark.empty()) added += "  # " + edit.remark;
        if (carriage) added += '\r';
        lines.insert(lines.begin() + last, std::move(added));
    }
    std::string out;
    for (const std::string& l : lines) out += l + "\n";
    if (!last_ends && !out.empty()) out.pop_back();
    return out;
}

std::string with_block(std::string_view toml, std::string_view block) {
    std::string out(toml);
    if (!out.empty() && out.back() != '\n') out += '\n';
    if (!out.empty()) out += '\n';
    return out + std::string(block);
}

std::string toml_text(std::string_view text) {
    std::string out = "\"";
    for (const char c : text) {
        if (c == '"' || c == '\\')
            out += std::string("\\") + c;
        else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f)
            out += fmt::format("\\u{:04X}", static_cast<unsigned>(static_cast<unsigned char>(c)));
        else
            out += c;
    }
    return out + "\"";
}

std::string toml_number(double v) {
    const double tenths = std::round(v * 10) / 10;
    return tenths == std::floor(tenths) ? fmt::format("{:.0f}", tenths) : fmt::format("{:.1f}", tenths);
}

}  // namespace fettle::family
