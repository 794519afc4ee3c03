#include "fettle/show/order.h"

#include <gtest/gtest.h>

namespace fettle::show {
namespace {

std::string by_name(const Proposal& act) {
    std::string out(name_of(act.act));
    for (const Argument& a : act.arguments) out += " " + a.value;
    return out;
}

workshop::Ordered two_jobs() {
    workshop::Ordered o;
    o.at = 1'800'000'000'000;
    o.benches = 2;
    o.certainty = 0.8;
    const watch::Spread half_an_hour{1800, 30, {1.0}}, asks{300, 30, {1.0}};
    for (const char* name : {"0001X", "00028"})
        o.jobs.push_back({name, half_an_hour, {{"", "asks for the knob", asks, 180}}});
    o.order = watch::bench_order(o.jobs, 2, o.certainty);
    return o;
}

TEST(ShowOrder, SaysWhenAllAreDoneWhoWaitsAndWhatToDoFirst) {
    const Answer a = jobs_ordered(two_jobs());
    EXPECT_EQ(a.headline.rfind("2 jobs on 2 benches: all done in 30 min or less, 80 in 100", 0), 0u) << a.headline;
    EXPECT_EQ(a.data.at("end_s").to_number<double>(), 1800);
    EXPECT_EQ(a.data.at("slots").as_array().size(), 2u);
    EXPECT_EQ(a.judgement.verdict(), Verdict::mind);  // both ask at once, for certain
    EXPECT_NE(a.judgement.reasons.front().text.find("100 in 100"), std::string::npos);
    // The next step is the check, never the start itself.
    EXPECT_NE(a.text.text(by_name).find("check-ready 0001X"), std::string::npos);
}

TEST(ShowOrder, WithoutAJobItProposesNothing) {
    const Answer a = jobs_ordered({});
    EXPECT_EQ(a.headline, "No job waits for a run.");
    EXPECT_TRUE(a.text.text(by_name).empty());
    EXPECT_EQ(a.data.at("slots").as_array().size(), 0u);
}

}  // namespace
}  // namespace fettle::show
