// CycloneDX 1.5 as JSON (ECMA-424), an inventory of components: each component of type firmware or file is a piece.
// Values of the mapping are JSON pointers, or "property NAME" for the component's property of that name; digests are
// read from `hashes` by themselves. Other types of component (a library within a firmware, say) are no files of the
// package and are passed over.
#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/family/index_raw.h"

namespace fettle::family {
namespace {

constexpr std::string_view property = "property ";

constexpr struct {
    const char *theirs, *ours;
} algorithms[] = {
    {"SHA-256", "sha256"}, {"SHA-512", "sha512"}, {"SHA-1", "sha1"}, {"MD5", "md5"}};  // others are not checked here

const json::value* member(const json::object& o, std::string_view name) {
    const json::value* v = o.if_contains(name);
    return v && !v->is_null() ? v : nullptr;
}

bool says(const json::object& o, std::string_view name, std::string_view value) {
    const json::value* v = member(o, name);
    return v && v->is_string() && v->get_string() == value;
}

Raw plain(const json::value& v, std::string place) {
    if (v.is_string()) return {RawKind::plain, std::string(v.get_string()), {}, std::move(place)};
    if (v.is_number()) return {RawKind::number, json::serialize(v), {}, std::move(place)};
    if (v.is_bool()) return {RawKind::truth, v.get_bool() ? "true" : "false", {}, std::move(place)};
    return {v.is_array() ? RawKind::list : RawKind::object, "", {}, std::move(place)};
}

// nullptr-like: false when there is none; a property that stands twice is a fault.
void take_property(const json::object& holder, const std::string& at, const std::string& field, std::string_view name,
                   RawItem& out, Faults& faults) {
    const json::value* list = member(holder, "properties");
    if (!list || !list->is_array()) return;
    std::size_t i = 0;
    for (const json::value& p : list->get_array()) {
        const std::string place = fmt::format("{}/properties/{}", at, i++);
        if (!p.is_object() || !says(p.get_object(), "name", name)) continue;
        const json::value* v = member(p.get_object(), "value");
        if (!v) continue;
        if (!out.fields.emplace(field, plain(*v, place + "/value")).second)
            faults.add(place, fmt::format("gives the property \"{}\" a second time", name));
    }
}

RawItem item_of(const json::value& v, const json::object& holder, const std::string& holder_at, const std::string& at,
                const std::map<std::string, std::string>& mapping, Faults& faults) {
    RawItem out;
    out.place = at;
    for (const auto& [field, mapped] : mapping) {
        if (field == "pieces") continue;
        if (mapped.starts_with(property)) {
            take_property(holder, holder_at, field, std::string_view(mapped).substr(property.size()), out, faults);
            continue;
        }
        json::error_code ec;
        const json::value* found = v.find_pointer(mapped, ec);
        if (found && !found->is_null()) out.fields[field] = plain(*found, at + mapped);
    }
    return out;
}

void take_hashes(const json::object& component, const std::string& at, RawItem& out, Faults& faults) {
    const json::value* list = member(component, "hashes");
    if (!list) return;
    if (!list->is_array()) return faults.add(at + "/hashes", "is no list");
    std::size_t i = 0;
    for (const json::value& h : list->get_array()) {
        const std::string place = fmt::format("{}/hashes/{}", at, i++);
        if (!h.is_object()) {
            faults.add(place, "is no object");
            continue;
        }
        for (const auto& a : algorithms) {
            if (!says(h.get_object(), "alg", a.theirs)) continue;
            const json::value* content = member(h.get_object(), "content");
            if (!content || !content->is_string())
                faults.add(place, "has no content");
            else if (!out.fields.emplace(a.ours, plain(*content, place + "/content")).second)
                faults.add(place, fmt::format("gives {} a second time", a.theirs));
        }
    }
}

}  // namespace

RawIndex read_cyclonedx_index(const PackageRule& rule, std::string_view text, Faults& faults) {
    RawIndex out;
    out.between.assign(1, ' ');
    const auto parsed = parse_json(text, rule.index);
    if (!parsed) {
        faults.add(parsed.error().place.words(), parsed.error().problem);
        return out;
    }
    if (!parsed->is_object() || !says(parsed->get_object(), "bomFormat", "CycloneDX")) {
        faults.add(rule.index, "is no CycloneDX inventory (/bomFormat)");
        return out;
    }
    const json::object& root = parsed->get_object();
    if (!says(root, "specVersion", "1.5")) faults.add("/specVersion", "is not \"1.5\"");
    // The release's properties are those of the component that the whole inventory is about.
    const json::value* metadata = member(root, "metadata");
    const json::value* about =
        metadata && metadata->is_object() ? member(metadata->get_object(), "component") : nullptr;
    const json::object none;
    out.release = item_of(*parsed, about && about->is_object() ? about->get_object() : none, "/metadata/component", "",
                          rule.release_fields, faults);
    const json::value* components = member(root, "components");
    if (!components || !components->is_array()) {
        faults.add("/components", "is missing or no list");
        return out;
    }
    std::size_t i = 0;
    for (const json::value& c : components->get_array()) {
        const std::string at = fmt::format("/components/{}", i++);
        if (!c.is_object()) {
            faults.add(at, "is no object");
            continue;
        }
        const json::object& component = c.get_object();
        if (!says(component, "type", "firmware") && !says(component, "type", "file")) continue;
        if (out.pieces.size() == most_pieces) {
            faults.add(at, fmt::format("is one more than the {} that are read", most_pieces));
            break;
        }
        RawItem piece = item_of(c, component, at, at, rule.piece_fields, faults);
        take_hashes(component, at, piece, faults);
        out.pieces.push_back(std::move(piece));
    }
    if (out.pieces.empty()) faults.add("/components", "has no component of type firmware or file");
    return out;
}

}  // namespace fettle::family
