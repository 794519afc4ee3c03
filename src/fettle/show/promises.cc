#include "fettle/show/promises.h"

#include <fmt/format.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

std::string per_cent(double share) {
    return fmt::format("{:.0f} %", 100 * share);
}

}  // namespace

Answer promises(const workshop::PromisesScored& scored) {
    Answer a;
    json::array steps;
    for (const auto& [step, p] : scored.steps) {
        a.text += fmt::format("  {}: {} of {} kept, loss {:.0f} s each\n", printable(step), p.kept, p.made, p.loss_s);
        steps.push_back({{"step", step},
                         {"made", p.made},
                         {"kept", p.kept},
                         {"low", p.low},
                         {"high", p.high},
                         {"loss_s", p.loss_s}});
    }
    const workshop::Promises& all = scored.all;
    a.data = {{"made", all.made}, {"kept", all.kept}, {"steps", std::move(steps)}};
    a.judgement = scored.judgement;
    if (all.made == 0) {
        a.headline = "No promise was made yet that has come due.";
        return a;
    }
    a.data["low"] = all.low;
    a.data["high"] = all.high;
    a.headline = fmt::format("{} of {} promises kept; each said nine in ten. By this record, {} to {} are.", all.kept,
                             all.made, per_cent(all.low), per_cent(all.high));
    return a;
}

}  // namespace fettle::show
