#include "fettle/family/toml_tree.h"

#include <fmt/core.h>
#include <toml++/toml.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::family {
namespace {

int line_of(const toml::source_region& r) {
    return static_cast<int>(r.begin.line);
}

// Recursion is bounded by the library's own limit on nested values (256).
Node convert(const toml::node& n) {
    Node out;
    out.line = line_of(n.source());
    if (const auto* t = n.as_table()) {
        out.kind = NodeKind::table;
        for (const auto& [key, value] : *t) {
            out.members.push_back(convert(value));
            out.members.back().name = key.str();
            out.members.back().key_line = line_of(key.source());
        }
        if (out.line == 0 && !out.members.empty()) out.line = out.members.front().key_line;
    } else if (const auto* a = n.as_array()) {
        out.kind = NodeKind::array;
        for (const auto& item : *a) out.items.push_back(convert(item));
        if (out.line == 0 && !out.items.empty()) out.line = out.items.front().line;
    } else if (const auto* s = n.as_string()) {
        out.kind = NodeKind::text;
        out.text = s->get();
    } else if (const auto* i = n.as_integer()) {
        out.kind = NodeKind::integer;
        out.integer = i->get();
        out.real = static_cast<double>(i->get());
    } else if (const auto* f = n.as_floating_point()) {
        out.kind = NodeKind::real;
        out.real = f->get();
    } else if (const auto* b = n.as_boolean()) {
        out.kind = NodeKind::boolean;
        out.boolean = b->get();
    } else if (const auto* d = n.as_date()) {
        out.kind = NodeKind::date;
        out.text = fmt::format("{:04}-{:02}-{:02}", d->get().year, d->get().month, d->get().day);
    }
    return out;
}

}  // namespace

std::string_view words(NodeKind k) {
    switch (k) {
        case NodeKind::table: return "a table";
        case NodeKind::array: return "a list";
        case NodeKind::text: return "a text";
        case NodeKind::integer: return "a whole number";
        case NodeKind::real: return "a number";
        case NodeKind::boolean: return "true or false";
        case NodeKind::date: return "a date";
        case NodeKind::other: break;
    }
    return "a time";
}

const Node* Node::member(std::string_view key) const {
    const auto at = std::find_if(members.begin(), members.end(), [&](const Node& m) { return m.name == key; });
    return at == members.end() ? nullptr : &*at;
}

Result<Node> parse_toml(std::string_view text) {
    if (text.size() > family_file_limit_bytes)
        return bad_input(
            "not-toml", "line 1",
            fmt::format("the file has {} bytes; a family file has at most {}", text.size(), family_file_limit_bytes),
            "check that this is a family file");
    try {
        return convert(toml::parse(text));
    } catch (const toml::parse_error& e) {
        const auto at = e.source().begin;
        return bad_input("not-toml", fmt::format("line {}, column {}", at.line, at.column),
                         "is not TOML from here on: " + printable(e.description()),
                         "look at this line and the one before it: quotes, brackets, a key written twice");
    }
}

std::vector<std::string> lines_of(std::string_view text) {
    std::vector<std::string> out;
    while (!text.empty()) {
        const std::size_t end = std::min(text.find('\n'), text.size());
        out.emplace_back(text.substr(0, end));
        text.remove_prefix(std::min(end + 1, text.size()));
    }
    return out;
}

}  // namespace fettle::family
