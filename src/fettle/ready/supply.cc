#include "fettle/ready/supply.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/ready/supply_judge.h"

namespace fettle::ready {
namespace {

// Volts at which the support supply would only now begin to take over from the battery: its own rested voltage; where
// nobody measured or said how full it is, that of a full one.
double begins_to_support_V(const SupplyFigures& f, BatteryKind kind) {
    if (f.rested_V && f.rested_h.value_or(0) >= kRestWanted_h) return *f.rested_V;
    return rested_V_at(f.charge.value_or(1.0), kind);
}

// What is at its terminals, as far as it is known: figures count before the word that it supports.
std::optional<double> support_V(const SupplyFigures& f) {
    if (f.set_V && f.measured_V) return std::min(*f.set_V, *f.measured_V);
    return f.measured_V ? f.measured_V : f.set_V;
}

}  // namespace

Judge::Judge(const family::Family& family, const Need& need, const SupplyFigures& figures, BatteryKind if_kind)
    : need_(need), f_(figures), if_kind_(if_kind), lowest_V_(family.supply ? family.supply->lowest_V : 0) {
    rests_on_ = family.supply ? family.supply->source : "nothing";
    if (rests_on_.empty()) rests_on_ = "family file";
}

void Judge::reason(std::string code, Verdict v, std::string text, std::string rests) {
    out_.judgement.add({std::move(code), v, std::move(text), "supply", std::move(rests)});
}

SupplyAnswer Judge::run() {
    if (need_.peak_A <= 0) {
        reason("current-not-known", Verdict::cant_say,
               "the family file gives no currents, so what the supply must give is not known", "family file");
        return std::move(out_);
    }
    if (!need_.without_current.empty())
        reason("current-partly-not-known", Verdict::cant_say,
               fmt::format("the family file gives no current for {}: what they take is not in the figures",
                           join(need_.without_current, ", ")),
               "family file");
    const double gives_V = f_.on_bench ? HUGE_VAL : support_V(f_).value_or(HUGE_VAL);
    const double from_V = begins_to_support_V(f_, f_.kind.value_or(if_kind_));
    if (f_.support.value_or(false) && gives_V <= from_V) {
        reason("support-gives-nothing", Verdict::mind,
               fmt::format("{:.1f} V is no more than the battery has at rest ({:.1f} V): what is connected supports "
                           "nothing, so the battery counts alone",
                           gives_V, from_V),
               f_.measured_V ? how() : "typed");
        battery();
    } else if (f_.on_bench || f_.support.value_or(false)) {
        mains();
    } else {
        battery();
    }
    return std::move(out_);
}

SupplyAnswer judge_figures(const family::Family& family, const Need& need, const SupplyFigures& figures) {
    SupplyAnswer answer = Judge(family, need, figures, BatteryKind::flooded).run();
    if (figures.kind) return answer;
    SupplyAnswer other = Judge(family, need, figures, BatteryKind::agm).run();
    return other.judgement.verdict() > answer.judgement.verdict() ? other : answer;
}

SupplyAnswer judge_supply(const family::Family& family, const Need& need, const SupplyFigures& figures) {
    SupplyAnswer answer = judge_figures(family, need, figures);
    answer.remedies = search_remedies(family, need, figures, answer);
    return answer;
}

}  // namespace fettle::ready
