// What must stay true to the end, how long that is, and where power must not fail.
#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/clock.h"
#include "fettle/ready/cautions.h"
#include "fettle/ready/checker.h"
#include "fettle/ready/holds.h"
#include "fettle/ready/told.h"

namespace fettle::ready {

void Checker::holds() {
    const auto all = yes(s_.told, "holds", "yes", "no");
    for (const family::Hold& h : holds_of(family_, s_.on_bench)) {
        auto kept = yes(s_.told, "hold." + h.id, "yes", "no");
        if (!kept) kept = all;
        if (!kept) {
            want("hold." + h.id);
            item("hold: " + h.words, "not confirmed",
                 {"hold-not-confirmed", Verdict::cant_say, "not confirmed: " + h.words, h.id, "not said"},
                 "see to it, then say hold." + h.id + "=yes");
        } else if (!*kept) {
            item("hold: " + h.words, "no (typed)",
                 {"hold-not-kept", Verdict::halt, "not so: " + h.words, h.id, "typed"}, "see to it first");
        } else {
            item("hold: " + h.words, "confirmed (typed)",
                 {"hold-confirmed", Verdict::fit, "confirmed: " + h.words, h.id, "typed"});
        }
    }
}

void Checker::duration() {
    const std::string value = fmt::format("{} (half), {} (nine in ten)", human_duration(forecast_.total.p50_s),
                                          human_duration(forecast_.total.p90_s));
    if (forecast_.states.empty()) {
        item("time", "not known",
             {"time-not-known", Verdict::cant_say, "no forecast: the step script is not known", "time", "family file"});
    } else {
        item("time", value,
             {"time-told", Verdict::fit, forecast_.claim.empty() ? "the run takes about " + value : forecast_.claim,
              "time", forecast_.rests_on});
    }
}

void Checker::zones() {
    if (!map_.boot_order_known) {
        item("power cuts", "boot order not known",
             {"boot-order-not-known", Verdict::cant_say,
              "the boot order is not known: act as if every write had no way back", "power", "family file"},
             "keep power whatever happens");
        return;
    }
    int n = 0;
    double first_s = 0;
    for (const cutmap::Stretch& z : map_.stretches) {
        if (z.outcomes.empty() || !cutmap::no_way_back(cutmap::worst(z.outcomes))) continue;
        if (n++ == 0) first_s = z.from_p50_s;
    }
    if (n == 0) {
        item("power cuts", "no stretch without a way back",
             {"always-a-way-back", Verdict::fit, "at no moment would a power cut leave it without a way back", "power",
              "family file"});
        return;
    }
    item("power cuts",
         fmt::format("{} without a way back, {} in all, the first about {} after the start",
                     n == 1 ? "one stretch" : fmt::format("{} stretches", n), human_duration(map_.no_way_back_p90_s),
                     human_duration(first_s)),
         {"no-way-back-ahead", Verdict::mind,
          fmt::format("a power cut in {} would need bench repair or lose the unit",
                      n == 1 ? "one stretch" : fmt::format("any of {} stretches", n)),
          "power", "family file"},
         caution("keep-power").text);
}

}  // namespace fettle::ready
