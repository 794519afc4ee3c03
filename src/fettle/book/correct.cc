#include "fettle/book/correct.h"

#include <fmt/core.h>

#include <algorithm>
#include <set>
#include <utility>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::book {
namespace {

std::string as_words(const json::value& v) {
    if (v.is_string()) return std::string(v.get_string());
    if (v.is_null()) return "";
    return json::serialize(v);
}

json::value* child_of(json::value& parent, const std::string& part) {
    if (auto* o = parent.if_object()) return o->if_contains(part);
    auto* a = parent.if_array();
    const auto i = number_in<std::size_t>(part);
    return a && i && *i < a->size() ? &(*a)[*i] : nullptr;
}

}  // namespace

Result<std::vector<ReadEntry>> read_entries(const std::vector<Entry>& entries) {
    std::vector<ReadEntry> out;
    for (const Entry& e : entries) {
        const std::string place = fmt::format("entry {} ({})", e.number, printable(e.type));
        auto data = parse_json(e.data, place);
        if (!data || !data->is_object())
            return bad_input(
                "entry-malformed", place, "its data is not one JSON object",
                Next{"check the chain (", propose(Act::show_job), ") and go on from the last copy of this folder"});
        out.push_back({e, std::move(data->get_object())});
    }
    return out;
}

bool set_member(json::object& data, std::string_view field, const json::value& value, std::string& before) {
    const std::vector<std::string> parts = split(field, '.');
    if (parts.empty() || parts.front().empty()) return false;
    json::value* at = nullptr;
    json::object* object = &data;
    for (std::size_t i = 0; i + 1 < parts.size(); ++i) {
        at = i == 0 ? data.if_contains(parts[0]) : child_of(*at, parts[i]);
        if (!at) return false;
        object = at->if_object();
    }
    json::value* old = at ? child_of(*at, parts.back()) : data.if_contains(parts.back());
    before = old ? as_words(*old) : "";
    if (value.is_null()) {
        if (!object || !old) return false;  // out of an object only: a list keeps its places
        object->erase(parts.back());
    } else if (old) {
        *old = value;
    } else if (object) {
        (*object)[parts.back()] = value;
    } else {
        return false;
    }
    return true;
}

std::vector<Correction> apply_corrections(std::vector<ReadEntry>& entries) {
    std::vector<Correction> made;
    std::set<std::pair<std::size_t, std::string>> spoken;  // entry and field that a later correction settled
    // From the last to the first: a correction is itself corrected before it acts, and the latest word stands.
    for (std::size_t i = entries.size(); i-- > 0;) {
        const ReadEntry& by = entries[i];
        if (by.entry.type != "corrects") continue;
        Correction c;
        c.by_entry = by.entry.number;
        c.at = by.entry.at;
        if (const auto* n = by.data.if_contains("entry"); n && n->is_int64()) c.entry = n->get_int64();
        c.field = text_of(by.data, "field");
        c.why = text_of(by.data, "why");
        c.by = text_of(by.data, "by");
        const auto target = std::find_if(entries.begin(), entries.begin() + static_cast<std::ptrdiff_t>(i),
                                         [&](const ReadEntry& e) { return e.entry.number == c.entry; });
        if (target != entries.begin() + static_cast<std::ptrdiff_t>(i)) {
            c.of_type = target->entry.type;
            const auto* stated = by.data.if_contains("value");
            const json::value value = stated ? *stated : json::value(nullptr);
            const auto index = static_cast<std::size_t>(target - entries.begin());
            if (spoken.emplace(index, c.field).second) {
                if (set_member(target->data, c.field, value, c.before)) c.after = as_words(value);
            } else {
                c.after = as_words(value);  // overtaken by a later correction, whose `before` is the first value
            }
        }
        made.push_back(std::move(c));
    }
    std::reverse(made.begin(), made.end());
    return made;
}

}  // namespace fettle::book
