#include "fettle/cutmap/cutmap_test_help.h"

namespace fettle::cutmap {
namespace {

// --- the example family, by hand from its boot rules -----------------------------------------------------------------

TEST(Dunnock, BeforeTheFirstWriteNothingIsChanged) {
    const auto m = map_of(dunnock(), dunnock_sheet());
    EXPECT_EQ(at(m, "reading", -1).outcomes, Outcomes{nothing_changed});
    EXPECT_EQ(at(m, "comparing", -1).outcomes, Outcomes{nothing_changed});
}

TEST(Dunnock, TheRecoveryRegionIsWrittenWithoutANet) {
    const auto m = map_of(dunnock(), dunnock_sheet());
    // Buffered for three seconds: the first cell may still be as it was, and the last may be whole again.
    EXPECT_EQ(at(m, "recovery", 0).outcomes, (Outcomes{nothing_changed, starts_no_net}));
    EXPECT_EQ(at(m, "recovery", 1).outcomes, (Outcomes{nothing_changed, rests_unfinished, starts_no_net}));
    // The flag may not be set yet (rests, net whole) or be set (the same card takes it up).
    EXPECT_EQ(at(m, "pending", -1).outcomes, (Outcomes{rests_unfinished, same_card}));
}

TEST(Dunnock, TheStartCodeHasNoWayBackButTheBench) {
    const auto m = map_of(dunnock(), dunnock_sheet());
    EXPECT_EQ(at(m, "start-code", 0).outcomes, Outcomes{bench_repair});
    EXPECT_NE(at(m, "start-code", 0).story.find("loader is left torn"), std::string::npos);
    EXPECT_NE(at(m, "start-code", 0).story.find("service connector"), std::string::npos);
    EXPECT_GT(m.no_way_back_p50_s, 8);
    auto f = dunnock();
    f.bench.clear();
    EXPECT_EQ(at(map_of(f, dunnock_sheet()), "start-code", 0).outcomes, Outcomes{lost});
}

TEST(Dunnock, ThenTheSameCardTakesItUp) {
    const auto m = map_of(dunnock(), dunnock_sheet());
    for (const char* act : {"kernel", "system", "display"})
        EXPECT_EQ(at(m, act, 0).outcomes, Outcomes{same_card}) << act;
    EXPECT_EQ(at(m, "asks", -1).outcomes, Outcomes{same_card});
    EXPECT_EQ(at(m, "switch", -1).outcomes, Outcomes{same_card});
    EXPECT_EQ(at(m, "settled", -1).outcomes, (Outcomes{same_card, done}));
}

TEST(Dunnock, APlannedRestartHasItsOwnMark) {
    const auto m = map_of(dunnock(), dunnock_sheet());
    EXPECT_EQ(at(m, "dark-1", -1).outcomes, (Outcomes{goes_on_by_itself, same_card}));
    EXPECT_EQ(at(m, "dark-2", -1).outcomes, (Outcomes{goes_on_by_itself, done}));
    EXPECT_EQ(at(m, "end", -1).outcomes, Outcomes{done});
}

TEST(Dunnock, StretchesCoverTheRunWithoutGaps) {
    const auto sheet = dunnock_sheet();
    const auto f = forecast::forecast(dunnock(), sheet, {});
    const auto m = power_cut_map(dunnock(), sheet, f, 1);
    ASSERT_FALSE(m.stretches.empty());
    EXPECT_EQ(m.stretches.front().from_p50_s, 0);
    EXPECT_EQ(m.stretches.back().to_p50_s, f.total.p50_s);
    for (std::size_t i = 1; i < m.stretches.size(); ++i) {
        EXPECT_EQ(m.stretches[i].from_p50_s, m.stretches[i - 1].to_p50_s);
        EXPECT_NE(worst(m.stretches[i].outcomes), worst(m.stretches[i - 1].outcomes));
    }
    // The zone is the start code alone: its length is that act's, by draws.
    for (const auto& s : f.states) {
        if (s.act == "start-code") {
            EXPECT_NEAR(m.no_way_back_p50_s, s.lasts.p50_s, 0.01);
            EXPECT_NEAR(m.no_way_back_p90_s, s.lasts.p90_s, 0.01);
        }
    }
}

TEST(Dunnock, ASecondCutIsToldAsASecondCut) {
    const auto m = map_of(dunnock(), dunnock_sheet(), 2);
    // Cut while it is dark, taken up again, cut while the start code is written.
    const auto& dark = at(m, "dark-1", -1);
    EXPECT_EQ(worst(dark.outcomes), same_card);
    EXPECT_EQ(worst(dark.two_cuts), bench_repair);
    EXPECT_NE(dark.story.find("Power goes again while the main box writes the start code"), std::string::npos);
    EXPECT_EQ(worst(at(m, "kernel", 0).two_cuts), same_card);  // the start code is behind it
}

TEST(Dunnock, UnknownBufferingOfTheSystemIsExplored) {
    auto f = dunnock();
    for (auto& r : f.regions) r.buffered_s.reset();
    for (auto& a : f.script) a.forced = false;
    const auto m = map_of(f, dunnock_sheet());
    // The start code may not be on the medium while the kernel is written: unknown, so both.
    const auto& k = at(m, "kernel", 0);
    EXPECT_EQ(k.outcomes.count(bench_repair), 1u);
    EXPECT_EQ(k.outcomes.count(same_card), 1u);
    EXPECT_EQ(m.judgement.verdict(), Verdict::cant_say);
    EXPECT_NE(reason(m.judgement, "buffering-unknown"), nullptr);
}

TEST(Dunnock, AKnownBufferPutsOnlyTheNewestCellAtRisk) {
    auto f = dunnock();
    for (auto& a : f.script) a.forced = false;
    auto sheet = dunnock_sheet();
    auto longest = f;
    for (auto& r : longest.regions) r.buffered_s = 1e6;
    // Two seconds after the start code: it may be lost while the kernel's first cell is written, not while the system
    // is.
    for (auto& r : f.regions) {
        if (r.name == "start") r.buffered_s = 2;
    }
    EXPECT_EQ(at(map_of(f, sheet), "kernel", 0).outcomes.count(bench_repair), 1u);
    EXPECT_EQ(at(map_of(f, sheet), "system", 1).outcomes, Outcomes{same_card});
    EXPECT_EQ(at(map_of(longest, sheet), "system", 1).outcomes.count(bench_repair), 1u);
}

TEST(Map, StatesOfWhichNobodyKnowsWhatTheyDoHaveNoWayBack) {
    auto f = dunnock();
    std::erase_if(f.script, [](const family::Act& a) { return a.kind == family::ActKind::write; });
    for (const bool learnt : {true, false}) {
        auto g = f;
        if (learnt)
            g.watched.push_back({"0123456789abcdef", "2026-10-02", {}, ""});
        else
            g.regions.clear(), g.boot.clear(), g.bench.clear();
        const auto m = map_of(g, dunnock_sheet());
        EXPECT_TRUE(m.moments.empty());
        EXPECT_FALSE(m.boot_order_known);
        EXPECT_EQ(m.judgement.verdict(), Verdict::cant_say);
    }
}

TEST(Map, AnUnknownBootOrderIsCantSay) {
    auto f = dunnock();
    f.boot.clear();
    const auto m = map_of(f, dunnock_sheet());
    EXPECT_FALSE(m.boot_order_known);
    EXPECT_EQ(m.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(at(m, "reading", -1).outcomes.count(lost), 0u);
    for (const char* act : {"recovery", "start-code", "kernel", "system", "display"}) {
        EXPECT_TRUE(no_way_back(worst(at(m, act, 0).outcomes))) << act;
    }
    EXPECT_GT(m.no_way_back_p50_s, 60);
}

TEST(Map, OfAScriptThatWritesNothing) {
    const auto r = release("27.3.118", "4.0");
    const auto set = set_at("27.3.118");
    const auto sheet = change::change_sheet(dunnock(), r, change::infer(r, set), set);
    ASSERT_TRUE(sheet.nothing_to_do());
    auto f = dunnock();
    std::erase_if(f.script, [](const family::Act& a) { return a.kind == family::ActKind::set; });
    for (auto& a : f.script) a.into.clear();
    for (const auto& moment : map_of(f, sheet, 2).moments) {
        EXPECT_LE(badness(worst(moment.two_cuts)), badness(goes_on_by_itself)) << moment.act;
    }
}

TEST(Map, ARestartThatCannotComeBackIsFound) {
    auto f = dunnock();
    for (auto& a : f.script) {
        if (a.id == "dark-1") a.into = "normal";  // while an update is pending the rules start recovery
    }
    const auto m = map_of(f, dunnock_sheet());
    EXPECT_EQ(m.judgement.verdict(), Verdict::halt);
    const auto* r = reason(m.judgement, "script-does-not-end");
    ASSERT_NE(r, nullptr);
    EXPECT_NE(r->text.find("dark-1"), std::string::npos);
}

TEST(Map, RulesThatContradictTheUnitAsFoundAreFound) {
    auto f = dunnock();
    std::erase_if(f.boot, [](const family::BootRule& b) { return b.box == "main" && b.mode == "normal"; });
    EXPECT_NE(reason(map_of(f, dunnock_sheet()).judgement, "boot-rules-contradict"), nullptr);
}

TEST(Map, APositionThatIsNotOnItIsABug) {
    const auto m = map_of(dunnock(), dunnock_sheet());
    EXPECT_THROW(at(m, "kernel", 7), std::out_of_range);
    EXPECT_THROW(at(m, "nowhere", -1), std::out_of_range);
}

TEST(Map, ARegionWrittenAsOneImageIsOneCell) {
    auto f = dunnock();
    for (auto& r : f.regions) {
        if (r.name == "system") r.written_as = "image";
    }
    const auto m = map_of(f, dunnock_sheet(5));
    EXPECT_NO_THROW(at(m, "system", 0));
    EXPECT_THROW(at(m, "system", 1), std::out_of_range);
}

TEST(Map, FortyPiecesAndTwoCutsAreQuick) {
    const auto sheet = dunnock_sheet(18);
    const auto f = forecast::forecast(dunnock(), sheet, {});
    const auto before = std::chrono::steady_clock::now();
    const auto m = power_cut_map(dunnock(), sheet, f, 2);
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - before;
    EXPECT_GT(m.states, 100u);
    EXPECT_LT(took.count(), 1.0);
}

// --- against the plain enumeration -----------------------------------------------------------------------------------

RC_GTEST_PROP(Map, AgreesWithThePlainEnumeration, ()) {
    const auto f = random_family();
    const auto sheet = random_sheet(f);
    const auto m = outcomes_of(f, sheet, 2);
    std::vector<naive::Naive::Answer> want;
    try {
        want = naive::Naive(f, sheet).map(2);
    } catch (const naive::Naive::TooMuch&) {
        RC_DISCARD("too much to try one by one");
    }
    RC_ASSERT(m.moments.size() == want.size());
    for (std::size_t i = 0; i < want.size(); ++i) {
        RC_ASSERT(m.moments[i].act == want[i].act);
        RC_ASSERT(m.moments[i].cell == want[i].cell);
        RC_ASSERT(told(m.moments[i].outcomes) == told(want[i].one));
        RC_ASSERT(told(m.moments[i].two_cuts) == told(want[i].more));
        RC_ASSERT(!m.moments[i].story.empty());
    }
}

RC_GTEST_PROP(Map, AFurtherCutNeverBettersAnything, ()) {
    const auto f = random_family();
    const auto sheet = random_sheet(f);
    for (const auto& moment : outcomes_of(f, sheet, 2).moments) {
        RC_ASSERT(badness(worst(moment.two_cuts)) >= badness(worst(moment.outcomes)));
        for (const auto o : moment.outcomes) RC_ASSERT(moment.two_cuts.count(o) == 1u);
    }
}

RC_GTEST_PROP(Map, AWayInAtTheBenchNeverWorsens, ()) {
    auto f = random_family();
    const auto sheet = random_sheet(f);
    const auto before = outcomes_of(f, sheet, 2);
    for (const auto& b : f.boxes) f.bench.push_back({b.role, "another way in", {}});
    const auto after = outcomes_of(f, sheet, 2);
    for (std::size_t i = 0; i < before.moments.size(); ++i) {
        RC_ASSERT(badness(worst(after.moments[i].two_cuts)) <= badness(worst(before.moments[i].two_cuts)));
        RC_ASSERT(after.moments[i].two_cuts.count(lost) == 0u);
    }
}

RC_GTEST_PROP(Map, ForcingEveryActToTheMediumOnlyTakesOutcomesAway, ()) {
    auto f = random_family();
    const auto sheet = random_sheet(f);
    const auto before = outcomes_of(f, sheet, 1);
    for (auto& a : f.script) a.forced = true;
    const auto after = outcomes_of(f, sheet, 1);
    if (before.moments.size() != after.moments.size()) return;  // the run as planned ends elsewhere
    for (std::size_t i = 0; i < before.moments.size(); ++i) {
        for (const auto o : after.moments[i].outcomes) RC_ASSERT(before.moments[i].outcomes.count(o) == 1u);
    }
}

TEST(Map, EveryWayFromARestartThatIsNotAsPlannedIsFollowed) {
    // While an update is pending the rules start recovery, but the script expects the normal mode; how recovery goes on
    // is not known: by itself, with the card or not at all.
    auto f = dunnock();
    for (auto& a : f.script) {
        if (a.id == "dark-1") a.into = "normal";
    }
    for (auto& b : f.boot) {
        if (b.mode == "recovery") b.goes_on = b.from = b.whole_new_cells = "unknown";
    }
    const auto m = map_of(f, dunnock_sheet());
    // By itself or with the card it comes round to that restart for ever; not at all, it rests in recovery.
    const auto& pending = at(m, "pending", -1).outcomes;
    EXPECT_EQ(pending.count(bench_repair), 1u);
    EXPECT_EQ(pending.count(rests_unfinished) + pending.count(starts_no_net), 1u);
    EXPECT_EQ(reason(m.judgement, "script-does-not-end")->verdict, Verdict::halt);
    EXPECT_NE(reason(m.judgement, "resume-never-ends"), nullptr);
}

TEST(Map, ABoxThatDoesNotRestartStillHoldsItsCellsBack) {
    // Two boxes; the display buffers without end. Its cell is written before the main box alone restarts, into another
    // mode than planned, from which it goes on: a cut after that may still find the display's cell torn.
    family::Family f;
    f.id = "two";
    for (const char* role : {"main", "display"}) {
        family::Box b;
        b.role = role;
        f.boxes.push_back(b);
        family::Region r;
        r.box = role;
        r.name = "system";
        r.rate_mib_s = 1;
        r.overhead_s = 1;
        if (b.role == "main") r.buffered_s = 0;
        f.regions.push_back(r);
        family::BootRule rule;
        rule.box = role;
        rule.mode = "normal";
        rule.needs = {"system"};
        rule.goes_on = "by itself";
        rule.from = "same act";
        rule.whole_new_cells = "kept";
        f.boot.push_back(rule);
    }
    f.flags.push_back({"main", "mood", {"calm", "odd"}, "calm"});
    f.boot.front().when["mood"] = "calm";
    family::BootRule odd = f.boot.front();
    odd.mode = "recovery";
    odd.when["mood"] = "odd";
    f.boot.push_back(odd);
    auto write = act("display", family::ActKind::write, "display");
    write.region = "system";
    auto moody = act("moody", family::ActKind::set, "main");
    moody.flag = "mood";
    moody.value = "odd";
    auto calm = act("calm", family::ActKind::set, "main");
    calm.flag = "mood";
    calm.value = "calm";
    auto restart = act("restart", family::ActKind::restart, "main");
    restart.into = "recovery";
    f.script = {write,   moody,
                restart, act("waits", family::ActKind::wait, "main"),
                calm,    act("end", family::ActKind::end, "main")};
    change::ChangeSheet s;
    s.lines.push_back({"display", "picture", "system", "1", "2", change::Action::replace, "", 1000, false});
    EXPECT_EQ(at(outcomes_of(f, s, 1), "waits", -1).outcomes.count(lost), 1u);  // as planned: still at risk
    f.script[2].into = "normal";  // it comes up in recovery instead, which goes on with the same act: round and round
    odd.from = "same act";
    const auto m = outcomes_of(f, s, 1);
    EXPECT_EQ(at(m, "restart", -1).outcomes.count(lost), 1u);
    EXPECT_EQ(naive::Naive(f, s).map(1).back().one, m.moments.back().outcomes);
}

}  // namespace
}  // namespace fettle::cutmap
