#include "fettle/base/verdict.h"

#include <algorithm>
#include <iterator>
#include <utility>

namespace fettle {

std::string_view words(Verdict v) {
    switch (v) {
        case Verdict::fit: return "fit";
        case Verdict::mind: return "mind";
        case Verdict::cant_say: return "can't say";
        case Verdict::halt: return "halt";
    }
    return "can't say";
}

std::string_view code(Verdict v) {
    return v == Verdict::cant_say ? std::string_view("cant-say") : words(v);
}

Verdict worse(Verdict a, Verdict b) {
    return std::max(a, b);
}

Verdict Judgement::verdict() const {
    Verdict out = Verdict::fit;
    for (const Reason& r : reasons) {
        out = worse(out, r.rests_on.is_guess() ? worse(r.verdict, Verdict::mind) : r.verdict);
    }
    return out;
}

void Judgement::add(Judgement other) {
    std::move(other.reasons.begin(), other.reasons.end(), std::back_inserter(reasons));
}

}  // namespace fettle
