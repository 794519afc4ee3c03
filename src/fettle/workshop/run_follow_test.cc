// All who look at a run agree on where it is and on whether it was broken off: by what the journal says, for any marks,
// ends and times.
#include "fettle/workshop/run_follow.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <random>

#include "fettle/watch/where_test_help.h"
#include "fettle/workshop/attach_to_run.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/mark_run.h"
#include "fettle/workshop/stay_with_run.h"
#include "fettle/workshop/test_job.h"
#include "fettle/workshop/wall.h"

namespace fettle::workshop {
namespace {

const alarm::Means kSilent{false, false, false, ""};

// A run of which anything was noted, over or not.
book::Run any_run(const book::Run& begun) {
    book::Run run = begun;
    const auto at = [&] { return run.started + *rc::gen::inRange<UnixMs>(-10'000, 1'200'000); };
    const int marks = *rc::gen::inRange(0, 6);
    for (int i = 0; i < marks; ++i) {
        book::RunMark m;
        m.entry = i + 1;
        m.event = *rc::gen::elementOf(std::vector<std::string>{"dark", "back", "asks", "answered", "ended", "still",
                                                               "link-silent", "display", "broken-off", "nonsense"});
        m.at = at();
        m.source = "tap";
        m.undone = *rc::gen::weightedElement<bool>({{4, false}, {1, true}});
        run.marks.push_back(m);
    }
    run.outcome = *rc::gen::elementOf(std::vector<RunState>{RunState::open, RunState::ended, RunState::broken_off});
    if (run.outcome != RunState::open) run.ended = std::max(run.started, at());
    return run;
}

const JobRun& example() {
    static const JobRun run = [] {
        TestJob t;
        t.run("");
        return must(load_last_run(t.shop, t.number));
    }();
    return run;
}

RC_GTEST_PROP(RunFollow, ABrokenOffRunIsOneByItsJournalAloneAndAsksForNothing, ()) {
    const book::Run run = any_run(example().job.runs.back());
    RunFollow follow(example(), run);
    const UnixMs now = run.started + *rc::gen::inRange<UnixMs>(0, 1'500'000);
    const watch::Where w = follow.tick(now);
    const bool broken = run.outcome == RunState::broken_off;
    RC_ASSERT((w.state == RunState::broken_off) == broken);
    RC_ASSERT(w.sentence.starts_with("Broken off") == broken);
    if (!broken) return;
    RC_ASSERT(w.standing == watch::Standing::astray);
    RC_ASSERT(w.hands.empty());
    RC_ASSERT(!w.safe_to_remove);
    RC_ASSERT(w.elapsed_s == static_cast<double>(*run.ended - run.started) / 1000);
    RC_ASSERT(watch::all_of(w) == watch::all_of(follow.tick(now + 3'600'000)));
}

// What was seen bit by bit is what it is when it is looked at once.
RC_GTEST_PROP(RunFollow, GoesOnToWhatASingleLookShows, ()) {
    const book::Run run = any_run(example().job.runs.back());
    book::Run known = example().job.runs.back();
    RunFollow follow(example(), known);
    UnixMs now = known.started;
    for (const book::RunMark& m : run.marks) {
        known.marks.push_back(m);
        now += *rc::gen::inRange<UnixMs>(0, 300'000);
        follow.see(known);
        follow.tick(now);
    }
    follow.see(run);
    RC_ASSERT(watch::all_of(follow.tick(now)) == watch::all_of(where_is(example(), run, now)));
}

// The acts themselves, over real journals. The cases are drawn from a fixed seed, so that a failure repeats itself.
TEST(WhoLooksAtARun, AgreesWithAllOthers) {
    TestJob t;
    std::mt19937 random(42);
    const auto one_of = [&](std::vector<const char*> all) { return all[random() % all.size()]; };
    int seen_open = 0, seen_broken = 0, seen_ended = 0;
    for (int i = 0; i < 12; ++i) {
        t.run("");
        StayRequest stay;
        stay.job = t.number;
        stay.means = kSilent;
        const auto stays = must(StayWithRun::begin(t.shop, stay));
        const auto attached = must(AttachToRun::begin(t.shop, {t.number, 10, kSilent}));
        stays->tick();
        for (unsigned marks = random() % 4; marks > 0; --marks) {
            t.clock.at += 1000 * static_cast<UnixMs>(random() % 300);
            t.add("mark", {{"event", one_of({"dark", "back", "asks", "answered", "display"})}, {"source", "tap"}});
            stays->tick();
        }
        const std::string outcome = one_of({"", "ended", "broken off"});
        if (!outcome.empty()) t.add("ended", {{"outcome", outcome}});
        t.clock.at += 1000 * static_cast<UnixMs>(random() % 4000);

        const RunLook look = must(look_at_run(t.shop, {t.number, {}, {}}));
        const std::string shown = watch::all_of(look.where);
        EXPECT_EQ(look.where.state, outcome.empty()      ? RunState::open
                                    : outcome == "ended" ? RunState::ended
                                                         : RunState::broken_off);
        const auto tick = stays->tick();
        EXPECT_EQ(watch::all_of(tick.where), shown);
        EXPECT_EQ(tick.over, !outcome.empty());
        EXPECT_EQ(attached->tick().over, !outcome.empty());
        EXPECT_EQ(watch::all_of(attached->where()), shown);
        const Wall wall = must(wall_of(t.shop, {}));
        EXPECT_EQ(wall.rows.size(), outcome.empty() ? 1u : 0u);
        for (const watch::WallRow& row : wall.rows) EXPECT_EQ(row.says, look.where.sentence);
        EXPECT_EQ(link_options(t.shop, t.number, (t.folder / "r.pcapng").string()).has_value(), !outcome.empty());
        MarkRequest text;
        text.job = t.number;
        text.shows = "?";
        EXPECT_EQ(must(mark_run(t.shop, text)).look.where.state, look.where.state);
        seen_open += outcome.empty();
        seen_ended += outcome == "ended";
        seen_broken += outcome == "broken off";
        if (outcome.empty()) t.add("ended", {{"outcome", "ended"}});
    }
    EXPECT_GT(std::min({seen_open, seen_broken, seen_ended}), 0);
}

}  // namespace
}  // namespace fettle::workshop
