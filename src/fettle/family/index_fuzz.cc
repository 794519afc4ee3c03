// Any bytes as a package index: a release whose figures can be added up, or faults that can be shown.
#include <cstdlib>

#include "fettle/base/text.h"
#include "fettle/family/release.h"

namespace {

// A mapping with every field, as a maker's index may have it.
fettle::family::Family some_family() {
    using namespace fettle::family;
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

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle::family;
    static const Family family = some_family();
    const auto r = read_index(family, {reinterpret_cast<const char*>(data), size});
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
