// Any bytes as two family files, parted by a byte that no UTF-8 has: never a crash; what is taken for a tightening
// loosens nothing, and a value that is set is the only thing that changes.
#include <cstdlib>
#include <set>

#include "fettle/family/compare.h"
#include "fettle/family/edit.h"
#include "fettle/family/merge.h"
#include "fettle/family/signed.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle::family;
    const std::string_view both(reinterpret_cast<const char*>(data), size);
    const std::size_t at = both.find('\xff');
    const std::string_view mine = both.substr(0, at);
    const std::string_view theirs = at == std::string_view::npos ? std::string_view() : both.substr(at + 1);
    check_family_signature(mine);
    const Loaded here = load_family_text(mine), there = load_family_text(theirs);
    if (!here.mistakes.empty()) return 0;
    if (const auto set = set_value(mine, {"family", -1, "words", "\"set\"", "by the test"})) {
        const Loaded after = load_family_text(*set);
        if (after.mistakes.empty()) {
            if (after.family.words != "set") std::abort();
            for (const Change& c : compare_families(here.family, after.family))
                if (c.key != "family.words") std::abort();
        }
    }
    if (!there.mistakes.empty()) return 0;
    const auto all = differences(mine, theirs);
    std::set<std::size_t> tighten;
    for (std::size_t i = 0; i < all.size(); ++i)
        if (all[i].kind == Difference::Kind::tightens) tighten.insert(i);
    const auto out = merged(mine, theirs, tighten);
    if (!out) return 0;
    for (const Change& c : compare_families(here.family, load_family_text(*out).family))
        if (c.loosens) std::abort();
    return 0;
}
