#include "cmd_promises.h"

#include <fmt/format.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/forecast/share_bounds.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

struct Promises {  // of one family and release
    std::int64_t made = 0, kept = 0;
    double loss_s = 0;
};

std::string per_cent(double share) {
    return fmt::format("{:.0f} %", 100 * share);
}

}  // namespace

Result<Answer> book_promises(Workshop& shop, const BookPromisesOptions& options) {
    Answer a;
    std::map<std::string, Promises> by_step;
    Promises all;
    std::error_code ignored;
    if (std::filesystem::exists(shop.book_file(), ignored)) {
        auto opened = open_book(shop);
        if (!opened) return pass(opened);
        auto texts = opened->data_of("times");
        if (!texts) return pass(texts);
        for (const std::string& text : *texts) {
            const auto v = parse_json(text, "times");
            if (!v || !v->is_object()) continue;
            const json::object& o = v->get_object();
            if (!o.contains("kept") || !o.at("kept").is_bool()) continue;
            if (!options.family.empty() && text_of(o, "family") != options.family) continue;
            Promises& of = by_step[text_of(o, "family") + " to " + text_of(o, "release")];
            for (Promises* p : {&of, &all}) {
                ++p->made;
                p->kept += o.at("kept").as_bool();
                p->loss_s += number_of(o, "loss_s");
            }
        }
    }
    json::array steps;
    const auto bounds = [](const Promises& p) {
        return std::pair{forecast::lower_share(p.kept, p.made, 0.975), forecast::upper_share(p.kept, p.made, 0.975)};
    };
    for (const auto& [what, p] : by_step) {
        const auto [low, high] = bounds(p);
        a.text += fmt::format("  {}: {} of {} kept, loss {:.0f} s each\n", printable(what), p.kept, p.made,
                              p.loss_s / static_cast<double>(p.made));
        steps.push_back({{"step", what},
                         {"made", p.made},
                         {"kept", p.kept},
                         {"low", low},
                         {"high", high},
                         {"loss_s", p.loss_s / static_cast<double>(p.made)}});
    }
    a.data = {{"made", all.made}, {"kept", all.kept}, {"steps", std::move(steps)}};
    if (all.made == 0) {
        a.headline = "No promise was made yet that has come due.";
        a.judgement.add({"no-promise-yet", Verdict::cant_say,
                         "no run that was promised a time has ended yet: how honest the forecasts are cannot be said",
                         "book", "no run"});
        return a;
    }
    const auto [low, high] = bounds(all);
    a.data["low"] = low;
    a.data["high"] = high;
    a.headline = fmt::format("{} of {} promises kept; each said nine in ten. By this record, {} to {} are.", all.kept,
                             all.made, per_cent(low), per_cent(high));
    const std::string rests = fmt::format("measured {}; Clopper-Pearson, 95 % two-sided", all.made);
    if (high < 0.9)
        a.judgement.add({"promises-too-short", Verdict::mind,
                         "fewer are kept than promised: say longer times, until the own runs have caught up", "book",
                         rests});
    else if (low > 0.9)
        a.judgement.add({"promises-too-long", Verdict::mind, "more are kept than promised: the times could be shorter",
                         "book", rests});
    else
        a.judgement.add(
            {"promises-as-said", Verdict::fit, "this record does not contradict nine in ten", "book", rests});
    return a;
}

}  // namespace fettle::app
