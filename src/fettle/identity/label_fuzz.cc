// Any bytes as a pattern and as a typed label (first line: pattern, rest: label): an answer that keeps its promises.
#include <cmath>
#include <cstdlib>

#include "fettle/family/label.h"
#include "fettle/identity/label.h"
#include "fettle/identity/vin.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    const std::string_view all(reinterpret_cast<const char*>(data), size);
    const auto cut = std::min(all.find('\n'), all.size());
    family::LabelRule rule;
    rule.pattern = std::string(all.substr(0, cut));
    const identity::LabelText text{std::string(all.substr(std::min(cut + 1, all.size()))), identity::Source::photo, {}};
    const auto matcher = family::LabelMatcher::make(rule);
    const identity::LabelAnswer a = identity::read_label(rule, text, "label");
    if (a.readings.empty() != (a.judgement.verdict() == Verdict::halt)) std::abort();
    if (a.judgement.verdict() == Verdict::cant_say && !a.question) std::abort();
    double last = 0;
    for (const identity::Reading& r : a.readings) {
        if (!matcher || !matcher->accepts(r.text) || r.cost < last || !std::isfinite(r.share)) std::abort();
        last = r.cost;
    }
    const identity::VinAnswer v = identity::check_vin(text.text);
    if (v.check_matches && v.vin.size() != 17) std::abort();
    return 0;
}
