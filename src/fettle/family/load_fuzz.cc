// Any bytes as a family file: never a crash, findings in order and placed, and what is called usable is usable.
#include <cstdlib>

#include "fettle/family/compare.h"
#include "fettle/family/family.h"
#include "fettle/family/label.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle::family;
    const Loaded loaded = load_family_text({reinterpret_cast<const char*>(data), size});
    int line = 1;
    for (const Finding& f : loaded.mistakes) {
        if (f.line < line || f.problem.empty() || f.next.empty()) std::abort();
        line = f.line;
    }
    if (!loaded.mistakes.empty()) return 0;
    for (const Box& b : loaded.family.boxes)
        if (!LabelMatcher::make(b.plate)) std::abort();
    if (!compare_families(loaded.family, loaded.family).empty()) std::abort();
    return 0;
}
