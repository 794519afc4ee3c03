// mend says what can have happened and what to try first; the stand-in is cut, shows what it does, and the first
// attempt is made on it. What mend excludes must not have happened, what it calls sure must help, and nothing that it
// offers may leave the set worse than it was. The two share the family file and no code.
#include <gtest/gtest.h>

#include "fettle/mend/mend.h"
#include "map_test_help.h"

namespace fettle::standin {
namespace {

using namespace testing;

// What a person could see of the run: the last text or ask, and when.
struct Told {
    std::string act;
    double at_s = 0;
    void take(const std::vector<Event>& events) {
        for (const Event& e : events)
            if ((e.kind == EventKind::shows || e.kind == EventKind::asks) && !e.act.empty()) {
                act = e.act;
                at_s = e.at_s;
            }
    }
};

mend::Now seen_now(const VirtualSet& s) {
    for (const BoxNow& b : s.boxes_now())
        if (b.mode == Mode::bench_repair || b.mode == Mode::lost) return mend::Now::dark;
    if (s.running()) return mend::Now::goes_on;
    for (const BoxNow& b : s.boxes_now())
        if (b.mode == Mode::recovery) return mend::Now::recovery;
    return mend::Now::starts;
}

int badness(Fate f) {
    return f == Fate::never_ends ? 99 : cutmap::badness(outcome_of(f));
}

// Cuts at every `stride` seconds and mends. Returns how often each kind of attempt came first.
std::map<MendKind, int> hold_mend(const std::string& id, const std::string& from, const std::string& to,
                                  double stride_s, std::uint64_t nature) {
    Bench& b = bench(id);
    const PlannedStep step(b, b.family, from, to, 2);
    const forecast::Forecast forecast = forecast::forecast(*b.family, step.sheet, {}, 1);
    std::map<MendKind, int> first;
    VirtualSet s = b.started(from, to, nature);
    Told told;
    bool card_out = false;
    while (s.running() && !::testing::Test::HasFailure()) {
        told.take(s.advance(stride_s));
        if (!s.running()) break;
        const double cut_s = s.now_s();
        const Position p = s.position();
        VirtualSet after = s;
        const Fate came = after.fate();  // of a cut here, with the card in
        after.cut_power();
        if (card_out) after.remove_card();  // so that it also waits for one
        card_out = !card_out;
        after.advance(30);
        after.restore_power();
        while (after.boxes_now().front().mode == Mode::starting) after.advance_to_next(3600);
        mend::Question q{*b.family, step.sheet, forecast, step.map, {}, {}, {}, {}, {}};
        q.seen.act = told.act;
        q.seen.act_at_s = q.seen.alive_s = told.at_s;
        q.seen.trouble_s = cut_s;
        q.found.power = mend::Power::lost;
        q.found.now = seen_now(after);
        q.found.supply_holds = true;
        const mend::Answer a = mend::mend(q);
        const std::string where = id + ", second " + std::to_string(cut_s) + ", act " + p.act + ", last sign " +
                                  told.act + ", came " + std::string(words(came)) + ", now " +
                                  std::string(mend::words(q.found.now)) + ": " + a.sentence;
        const bool complete_now = !after.running() && after.ending() == Ending::complete;
        if (complete_now) continue;  // it came through while it started
        EXPECT_TRUE(a.outcomes.contains(outcome_of(came))) << where;
        EXPECT_EQ(a.no_net && came != Fate::starts_no_net, false) << where;
        const mend::Attempt& attempt = a.attempts.front();
        ++first[attempt.kind];
        if (attempt.kind == MendKind::hand_over) {
            EXPECT_TRUE(came == Fate::bench_repair || came == Fate::lost) << where;
            continue;
        }
        if (attempt.kind == MendKind::same_card) {
            after.insert_card(b.card_for(to));
            if (!after.running()) (void)after.start_update();
        }
        run_out(after);
        const bool done = after.ending() == Ending::complete && !after.running();
        if (attempt.helps.low > 0.999) {
            EXPECT_TRUE(done) << where;
        }
        if (!done) {
            EXPECT_LE(badness(after.fate()), badness(came)) << where;
        }
    }
    return first;
}

TEST(MendAgainstStandIn, OneStore) {
    const auto first = hold_mend("brill", "26.4.088", "27.2.031", 23.7, 5);
    EXPECT_GT(first.at(MendKind::same_card), 5);
    EXPECT_GT(first.at(MendKind::hand_over), 0);
}
TEST(MendAgainstStandIn, SetWhoseRecoveryIsWrittenFirst) {
    const auto first = hold_mend("dunnock", "27.1.110", "27.3.118", 31.3, 9);
    EXPECT_GT(first.at(MendKind::same_card), 5);
}
TEST(MendAgainstStandIn, TwoStores) {
    const auto first = hold_mend("pelm", "27.1.052", "27.2.064", 29.1, 3);
    EXPECT_GT(first.at(MendKind::wait), 3);
    EXPECT_FALSE(first.contains(MendKind::hand_over));
}

}  // namespace
}  // namespace fettle::standin
