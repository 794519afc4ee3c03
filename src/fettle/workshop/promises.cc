#include "fettle/workshop/promises.h"

#include <fmt/format.h>

#include <map>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/forecast/share_bounds.h"
#include "fettle/workshop/run_times.h"

namespace fettle::workshop {
namespace {

void bound(Promises& p) {
    if (p.made == 0) return;
    p.loss_s /= static_cast<double>(p.made);
    p.low = forecast::lower_share(p.kept, p.made, 0.975);
    p.high = forecast::upper_share(p.kept, p.made, 0.975);
}

Reason verdict_on(const Promises& all) {
    if (all.made == 0)
        return {"no-promise-yet", Verdict::cant_say,
                "no run that was promised a time has ended yet: how honest the forecasts are cannot be said", "book",
                "no run"};
    const std::string rests = fmt::format("measured {}; Clopper-Pearson, 95 % two-sided", all.made);
    if (all.high < 0.9)
        return {"promises-too-short", Verdict::mind,
                "fewer are kept than promised: say longer times, until the own runs have caught up", "book", rests};
    if (all.low > 0.9)
        return {"promises-too-long", Verdict::mind, "more are kept than promised: the times could be shorter", "book",
                rests};
    return {"promises-as-said", Verdict::fit, "this record does not contradict nine in ten", "book", rests};
}

}  // namespace

Result<PromisesScored> score_promises(const Workshop& shop, const std::string& family) {
    const auto all = times_kept(shop);
    if (!all) return pass(all);
    PromisesScored out;
    std::map<std::string, Promises> by_step;
    for (const json::object& o : *all) {
        if (!counts(o) || !o.contains("kept") || !o.at("kept").is_bool()) continue;
        if (!family.empty() && text_of(o, "family") != family) continue;
        for (Promises* p : {&by_step[text_of(o, "family") + " to " + text_of(o, "release")], &out.all}) {
            ++p->made;
            p->kept += o.at("kept").as_bool();
            p->loss_s += number_of(o, "loss_s");
        }
    }
    bound(out.all);
    for (auto& [step, p] : by_step) {
        bound(p);
        out.steps.push_back({step, p});
    }
    out.judgement.add(verdict_on(out.all));
    return out;
}

}  // namespace fettle::workshop
