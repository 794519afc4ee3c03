#include "fettle/standin/write_index.h"

#include <fmt/format.h>

#include <algorithm>
#include <string_view>
#include <vector>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::standin {

namespace {

using Mapping = std::map<std::string, std::string>;

// What an index says of a release or a piece, by the mapping's names, in the order in which it is written.
struct Value {
    const char* field;
    std::vector<std::string> texts;  // one, or the items of a list
    bool list = false;
    bool number = false, truth = false;
};

std::vector<Value> values_of(const ReleaseSpec& spec, const std::string& family) {
    std::vector<Value> out{{"family", {family}}, {"release", {spec.release}}, {"markets", spec.markets, true}};
    if (!spec.installs_from.empty()) out.push_back({"installs_from", {spec.installs_from}});
    if (spec.counter) out.push_back({"counter", {std::to_string(*spec.counter)}, false, true});
    if (spec.one_way_door) out.push_back({"one_way_door", {"true"}, false, false, true});
    if (!spec.cures.empty()) out.push_back({"cures", spec.cures, true});
    return out;
}

std::vector<Value> values_of(const PieceSpec& p, const std::string& path, const std::string& digest) {
    std::vector<Value> out{{"name", {p.name}},       {"box", {p.box}}, {"region", {p.region}},
                           {"version", {p.version}}, {"file", {path}}, {"size", {std::to_string(p.bytes)}, false, true},
                           {"sha256", {digest}}};
    if (!p.issues.empty()) out.push_back({"issues", p.issues, true});
    return out;
}

const std::string* mapped(const Mapping& mapping, const char* field) {
    const auto at = mapping.find(field);
    return at == mapping.end() || at->second.empty() ? nullptr : &at->second;
}

// --- JSON: values by JSON pointer, objects made on the way

void put(json::object& into, const std::string& pointer, json::value v) {
    if (pointer.size() < 2) return;
    const auto parts = split(std::string_view(pointer).substr(1), '/');
    json::object* at = &into;
    for (std::size_t i = 0; i + 1 < parts.size(); ++i) {
        json::value& next = (*at)[parts[i]];
        if (!next.is_object()) next = json::object();
        at = &next.as_object();
    }
    (*at)[parts.back()] = std::move(v);
}

json::object as_json(const std::vector<Value>& values, const Mapping& mapping) {
    json::object o;
    for (const Value& v : values) {
        const std::string* pointer = mapped(mapping, v.field);
        if (!pointer) continue;
        if (v.list) {
            json::array list;
            for (const auto& t : v.texts) list.emplace_back(t);
            put(o, *pointer, std::move(list));
        } else if (v.number) {
            put(o, *pointer, std::stoll(v.texts[0]));
        } else if (v.truth) {
            put(o, *pointer, v.texts[0] == "true");
        } else {
            put(o, *pointer, json::string(v.texts[0]));
        }
    }
    return o;
}

// --- XML: values by paths of names, elements made on the way

struct Element {
    std::string name, attributes, text;
    std::vector<Element> children;

    Element& child(const std::string& wanted) {
        for (Element& c : children)
            if (c.name == wanted) return c;
        return add(wanted);
    }
    Element& add(const std::string& wanted) {
        children.push_back({wanted, {}, {}, {}});
        return children.back();
    }
    void write(std::string& out, std::size_t depth) const {
        out += std::string(2 * depth, ' ') + "<" + name + attributes;
        if (children.empty() && text.empty()) {
            out += "/>\n";
            return;
        }
        out += ">" + escape_markup(text);
        if (!children.empty()) {
            out += "\n";
            for (const Element& c : children) c.write(out, depth + 1);
            out += std::string(2 * depth, ' ');
        }
        out += "</" + name + ">\n";
    }
};

void put(Element& root, const std::string& path, const Value& v) {
    auto names = split(path, '/');
    const std::string last = names.back();
    names.pop_back();
    Element* at = &root;
    if (last.starts_with('@') && v.list && !names.empty()) {  // an element each
        const std::string each = names.back();
        names.pop_back();
        for (const auto& n : names) at = &at->child(n);
        for (const auto& t : v.texts)
            at->add(each).attributes = fmt::format(" {}=\"{}\"", last.substr(1), escape_markup(t));
        return;
    }
    for (const auto& n : names) at = &at->child(n);
    if (last.starts_with('@')) {
        at->attributes += fmt::format(" {}=\"{}\"", last.substr(1), escape_markup(join(v.texts, ";")));
    } else if (last == ".") {
        at->text = join(v.texts, ";");
    } else {
        for (const auto& t : v.texts) at->add(last).text = t;
    }
}

Element as_xml(const std::string& name, const std::vector<Value>& values, const Mapping& mapping) {
    Element e{name, {}, {}, {}};
    for (const Value& v : values)
        if (const std::string* path = mapped(mapping, v.field)) put(e, *path, v);
    return e;
}

std::string xml_text(const family::Family& f, const ReleaseSpec& spec, const Mapping& digests) {
    const auto& rule = *f.package;
    Element root = as_xml("release", values_of(spec, f.id), rule.release_fields);
    auto names = split(rule.release_fields.at("pieces"), '/');
    const std::string each = names.back();
    names.pop_back();
    Element* parent = &root;
    for (const auto& n : names) parent = &parent->child(n);
    for (const auto& p : spec.pieces) {
        const std::string path = path_of(rule, p);
        parent->children.push_back(as_xml(each, values_of(p, path, digests.at(path)), rule.piece_fields));
    }
    std::string out = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";
    root.write(out, 0);
    return out;
}

std::string json_text(const family::Family& f, const ReleaseSpec& spec, const Mapping& digests) {
    const auto& rule = *f.package;
    json::object o = as_json(values_of(spec, f.id), rule.release_fields);
    json::array pieces;
    for (const auto& p : spec.pieces) {
        const std::string path = path_of(rule, p);
        pieces.emplace_back(as_json(values_of(p, path, digests.at(path)), rule.piece_fields));
    }
    put(o, rule.release_fields.at("pieces"), std::move(pieces));
    return pretty(o);
}

// --- the digest list: remarks with a name, then a line for each file

std::string list_text(const family::Family& f, const ReleaseSpec& spec, const Mapping& digests) {
    const auto& rule = *f.package;
    std::string out;
    for (const Value& v : values_of(spec, f.id))
        if (const std::string* name = mapped(rule.release_fields, v.field); name && name->starts_with('#'))
            out += fmt::format("# {}: {}\n", name->substr(1), join(v.texts, "; "));
    for (const auto& p : spec.pieces) out += digests.at(path_of(rule, p)) + "  " + path_of(rule, p) + "\n";
    return out;
}

}  // namespace

std::string path_of(const family::PackageRule& rule, const PieceSpec& p) {
    if (rule.form != "digest-list") return fmt::format("{}/{}.bin", p.box, p.name);
    const std::string only = p.issues.empty() ? std::string() : "@" + p.issues.front();
    return fmt::format("{}/{}_{}{}.bin", p.region, p.name, p.version, only);
}

std::string index_text(const family::Family& f, const ReleaseSpec& spec, const Mapping& digests) {
    if (f.package->form == "xml") return xml_text(f, spec, digests);
    if (f.package->form == "digest-list") return list_text(f, spec, digests);
    return json_text(f, spec, digests);
}

Status can_be_made(const family::Family& f) {
    const auto no = [&](const char* problem) {
        return bad_input("no-package-rule", "family " + f.id, problem, "add or change [package] in the family file");
    };
    if (!f.package) return no("it has no package rule");
    const auto& p = *f.package;
    const bool list = p.form == "digest-list";
    if (list ? p.digest != "sha256" : !p.piece_fields.contains("sha256"))
        return no("the example maker gives SHA-256 only, and its package rule has none");
    if (p.form != "json" && p.form != "xml" && !list)
        return no("its package rule is of a form that the maker does not write");
    return {};
}

}  // namespace fettle::standin
