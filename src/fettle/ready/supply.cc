#include "fettle/ready/supply.h"

#include <fmt/format.h>

#include "fettle/base/text.h"
#include "fettle/ready/supply_judge.h"

namespace fettle::ready {

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
    if (f_.on_bench || f_.support.value_or(false)) {
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
