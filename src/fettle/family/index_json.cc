// The JSON form: the mapping's values are JSON pointers (RFC 6901).
#include <fmt/core.h>

#include <functional>

#include "fettle/base/json.h"
#include "fettle/family/index_raw.h"

namespace fettle::family {
namespace {

RawKind kind_of(const json::value& v) {
    switch (v.kind()) {
        case json::kind::null: return RawKind::null;
        case json::kind::bool_: return RawKind::truth;
        case json::kind::int64:
        case json::kind::uint64:
        case json::kind::double_: return RawKind::number;
        case json::kind::string: return RawKind::text;
        case json::kind::array: return RawKind::list;
        case json::kind::object: return RawKind::object;
    }
    return RawKind::object;
}

Raw raw_of(const json::value& v, std::string place, bool in_list = false) {
    Raw out;
    out.kind = kind_of(v);
    out.place = std::move(place);
    if (v.is_string())
        out.text = v.get_string();
    else if (v.is_primitive())
        out.text = json::serialize(v);
    else if (v.is_array() && !in_list)  // no field is a list of lists
        for (std::size_t i = 0; i < v.get_array().size(); ++i)
            out.items.push_back(raw_of(v.get_array()[i], fmt::format("{}/{}", out.place, i), true));
    return out;
}

const json::value* find(const json::value& v, const std::string& pointer) {
    json::error_code ec;
    const json::value* found = v.find_pointer(pointer, ec);
    return found && !found->is_null() ? found : nullptr;
}

RawItem item_of(const json::value& v, const std::string& place, const std::map<std::string, std::string>& mapping) {
    RawItem out;
    out.place = place;
    for (const auto& [field, pointer] : mapping) {
        if (field == "pieces" || field == "files") continue;
        if (const json::value* found = find(v, pointer)) out.fields[field] = raw_of(*found, place + pointer);
    }
    return out;
}

// The objects of the list at `pointer`: use(object, place).
void each_object(const json::value& v, const std::string& place, const std::string& pointer, Faults& faults,
                 const std::function<void(const json::value&, const std::string&)>& use) {
    const std::string base = place + pointer;
    const json::value* list = find(v, pointer);
    if (!list) return faults.add(base, "is missing");
    if (!list->is_array()) return faults.add(base, fmt::format("is {}; a list was expected", words(kind_of(*list))));
    const json::array& items = list->get_array();
    if (items.size() > most_pieces)
        return faults.add(base, fmt::format("has {} items; at most {} are read", items.size(), most_pieces));
    if (items.empty()) faults.add(base, "is empty; at least one was expected");
    for (std::size_t i = 0; i < items.size(); ++i) {
        const std::string at = fmt::format("{}/{}", base, i);
        if (items[i].is_object())
            use(items[i], at);
        else
            faults.add(at, fmt::format("is {}; an object was expected", words(kind_of(items[i]))));
    }
}

}  // namespace

RawIndex read_json_index(const PackageRule& rule, std::string_view text, Faults& faults) {
    RawIndex out;
    const auto parsed = parse_json(text, rule.index);
    if (!parsed) {
        faults.add(parsed.error().place.words(), parsed.error().problem);
        return out;
    }
    out.release = item_of(*parsed, "", rule.release_fields);
    const auto pieces = rule.release_fields.find("pieces");
    if (pieces == rule.release_fields.end()) return out;
    const auto files = rule.piece_fields.find("files");
    each_object(*parsed, "", pieces->second, faults, [&](const json::value& v, const std::string& place) {
        RawItem piece = item_of(v, place, rule.piece_fields);
        if (files != rule.piece_fields.end()) {
            piece.several_files = true;
            each_object(v, place, files->second, faults, [&](const json::value& f, const std::string& at) {
                piece.files.push_back(item_of(f, at, rule.file_fields));
            });
        }
        out.pieces.push_back(std::move(piece));
    });
    return out;
}

}  // namespace fettle::family
