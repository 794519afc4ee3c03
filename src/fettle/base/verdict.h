// Verdicts and the reasons they rest on. Every answer that advises is a Judgement: a list of reasons, whose worst
// verdict is the verdict of the whole.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/basis.h"
#include "fettle/base/next.h"

namespace fettle {

// From best to worst; the numeric order is the order of badness.
enum class Verdict { fit = 0, mind = 1, cant_say = 2, halt = 3 };

std::string_view words(Verdict v);  // "fit", "mind", "can't say", "halt"
std::string_view code(Verdict v);   // "fit", "mind", "cant-say", "halt" (JSON)

// A reason that rests on a guess is never better than mind.
struct Reason {
    std::string code;  // stable, kebab-case, listed in docs/reasons.md
    Verdict verdict = Verdict::fit;
    std::string text;  // one sentence for a technician
    std::string where;
    Basis rests_on;
    Next next{};  // what would settle it; empty where nothing can, or nothing need be done

    bool operator==(const Reason&) const = default;
};

struct Judgement {
    std::vector<Reason> reasons;

    // The worst of the reasons; fit when there is none. Guesses count as at best mind.
    Verdict verdict() const;
    void add(Reason r) { reasons.push_back(std::move(r)); }
    void add(Judgement other);
};

Verdict worse(Verdict a, Verdict b);

}  // namespace fettle
