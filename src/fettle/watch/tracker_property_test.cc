// Whatever is tapped, in whatever order and at whatever time, the watch goes on and its answer stays within bounds.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/watch/example_run.h"
#include "fettle/watch/strip.h"

namespace fettle::watch {
namespace {

const ExampleRun& example() {
    static const ExampleRun run(3);
    return run;
}

Observed any_observations() {
    const auto names = [] {
        auto all = events(example().family);
        all.push_back("no such event");
        all.push_back("");
        return all;
    }();
    const auto time = rc::gen::oneOf(rc::gen::inRange<UnixMs>(-100'000, 2'000'000),
                                     rc::gen::inRange<UnixMs>(-40'000'000'000, 40'000'000'000));
    Observed seen;
    seen.started = 1'800'000'000'000;
    seen.on_bench = *rc::gen::arbitrary<bool>();
    const auto n = *rc::gen::inRange(0, 12);
    for (int i = 0; i < n; ++i) {
        seen.marks.push_back({*rc::gen::elementOf(names), seen.started + *time, "tap",
                              *rc::gen::weightedElement<bool>({{5, false}, {1, true}})});
    }
    const auto texts = *rc::gen::inRange(0, 3);
    for (int i = 0; i < texts; ++i) {
        seen.shown.push_back(
            {*rc::gen::elementOf(std::vector<std::string>{"Writing", "Reading stick", "Update complete",
                                                          "Turn the knob to go on", "\xff?", ""}),
             seen.started + *time});
    }
    return seen;
}

RC_GTEST_PROP(TrackerProperty, NeverEndsOnAnySequenceOfMarks, ()) {
    const ExampleRun& r = example();
    const Step step{r.family, r.sheet, r.forecast, r.map};
    const Observed seen = any_observations();
    const UnixMs now =
        seen.started + *rc::gen::weightedOneOf<UnixMs>({{19, rc::gen::inRange<UnixMs>(-100'000, 500'000)},
                                                        {1, rc::gen::inRange<UnixMs>(0, 100'000'000)}});
    const Where w = track(step, seen, now);
    RC_ASSERT(!w.sentence.empty());
    RC_ASSERT(!w.if_power_went_words.empty());
    RC_ASSERT(w.as_slow >= 0 && w.as_slow <= 1);
    RC_ASSERT(w.elapsed_s >= 0);
    RC_ASSERT(w.end_p50_s >= 0 && w.end_p90_s >= w.end_p50_s);
    double sum = 0;
    for (const Odds& o : w.odds) {
        RC_ASSERT(o.p > 0 && o.p <= 1);
        sum += o.p;
    }
    RC_ASSERT(sum <= 1 + 1e-9);
    for (std::size_t i = 1; i < w.begins_s.size(); ++i) RC_ASSERT(w.begins_s[i] >= w.begins_s[i - 1]);
    for (const HandsWindow& h : w.hands) RC_ASSERT(h.from_s >= 0 && h.to_s >= h.from_s);
    if (w.standing == Standing::astray) RC_ASSERT(w.judgement.verdict() == Verdict::cant_say);
    if (w.standing != Standing::ended)
        RC_ASSERT(w.if_power_went_words.find("step is done") == std::string::npos || !w.odds.empty());
    for (const std::string& line : strip(step, seen, w, now)) RC_ASSERT(line.size() <= 80 * 3);
}

RC_GTEST_PROP(TrackerProperty, TheSameObservationsGiveTheSameAnswer, ()) {
    const ExampleRun& r = example();
    const Step step{r.family, r.sheet, r.forecast, r.map};
    const Observed seen = any_observations();
    const UnixMs now = seen.started + *rc::gen::inRange<UnixMs>(0, 200'000);
    const Where a = track(step, seen, now), b = track(step, seen, now);
    RC_ASSERT(a.sentence == b.sentence && a.act == b.act && a.as_slow == b.as_slow && a.begins_s == b.begins_s);
}

}  // namespace
}  // namespace fettle::watch
