// Any bytes as a package index: a release whose figures can be added up, or faults that can be shown. The first byte
// picks the form: X xml, C csv, T tsv, I ini, L digest list, B CycloneDX; any other begins a JSON text.
#include <cstdlib>
#include <functional>

#include "fettle/base/text.h"
#include "fettle/family/release.h"

namespace {

using namespace fettle::family;

// A mapping with every field, as a maker's index may have it.
Family some_family() {
    Family f;
    f.id = "fuzz";
    f.boxes.resize(2);
    f.boxes[0].role = "main";
    f.boxes[1].role = "display";
    f.package = PackageRule{};
    f.package->index = "release.json";
    f.package->release_fields = {{"family", "/family"},   {"release", "/release"},
                                 {"markets", "/markets"}, {"counter", "/counter"},
                                 {"pieces", "/pieces"},   {"installs_from", "/installs_from"},
                                 {"cures", "/cures"},     {"one_way_door", "/no_return"}};
    f.package->piece_fields = {{"name", "/name"}, {"box", "/box"},    {"region", "/region"}, {"version", "/version"},
                               {"file", "/file"}, {"size", "/bytes"}, {"sha256", "/sha256"}, {"issues", "/issues"}};
    return f;
}

// The same in another form; `field` makes the mapping's value for a name.
Family in_form(const char* form, const std::function<std::string(const std::string&)>& field, const char* pieces) {
    Family f = some_family();
    PackageRule& p = *f.package;
    p.form = form;
    for (auto& [name, value] : p.release_fields) value = field(name);
    for (auto& [name, value] : p.piece_fields) value = field(name);
    if (pieces)
        p.release_fields["pieces"] = pieces;
    else
        p.release_fields.erase("pieces");
    return f;
}

const Family& family_for(std::uint8_t first) {
    const auto plain = [](const std::string& name) { return name; };
    static const Family json = some_family();
    static const Family xml = in_form("xml", [](const std::string& name) { return "a/@" + name; }, "p");
    static const Family csv = in_form("csv", plain, nullptr);
    static const Family tsv = in_form("tsv", plain, nullptr);
    static const Family ini = in_form("ini", [](const std::string& name) { return "a/" + name; }, "p *");
    static const Family bom = in_form("cyclonedx", [](const std::string& name) { return "property " + name; }, nullptr);
    static const Family list = [] {
        Family f = in_form("digest-list", [](const std::string& name) { return "#" + name; }, nullptr);
        f.package->digest = "sha256";
        f.package->piece_fields = {{"file", "path"}, {"sha256", "digest"}};
        f.package->path_pattern = "(?P<box>main|display)/(?P<region>[a-z]+)/(?P<name>[a-z]+)(-(?P<issue>[A-F]))?";
        return f;
    }();
    switch (first) {
        case 'X': return xml;
        case 'C': return csv;
        case 'T': return tsv;
        case 'I': return ini;
        case 'B': return bom;
        case 'L': return list;
        default: return json;
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle::family;
    const Family& family = family_for(size ? data[0] : 0);
    const std::size_t skip = family.package->form.empty() ? 0 : 1;
    const auto r = read_index(family, {reinterpret_cast<const char*>(data) + skip, size - skip});
    if (!r) {
        if (r.error().problem.empty() || !fettle::is_utf8(r.error().message())) std::abort();
        return 0;
    }
    std::uint64_t sum = 0;
    for (const Piece& p : r->pieces) {
        if (p.name.empty() || r->piece(p.box, p.name) != &p) std::abort();
        sum += p.bytes();
    }
    if (sum != r->bytes() || r->pieces.empty()) std::abort();
    return 0;
}
