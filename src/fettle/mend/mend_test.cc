#include "fettle/mend/mend.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/base/source_path.h"

namespace fettle::mend {
namespace {

using cutmap::Outcome;

// A step of an example family by its own file, with pieces made up in the regions named.
struct Step {
    family::Family family;
    family::Release release;
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;

    Step(const char* id, const std::vector<std::pair<std::string, int>>& pieces) {
        family = family::load_family(source_path(std::string("families/") + id + ".toml")).value();
        make(pieces);
    }
    void make(const std::vector<std::pair<std::string, int>>& pieces) {
        release = {};
        release.family = family.id;
        release.release = "27.9.001";
        change::InstalledList found;
        found.origin = Origin::read;
        change::SetState set;
        for (const auto& b : family.boxes) set[b.role] = {"27.8.001", "C", "NS", 1};
        for (const auto& [region, n] : pieces)
            for (int i = 0; i < n; ++i) {
                const auto dot = region.find('.');
                family::Piece p;
                p.box = region.substr(0, dot);
                p.region = region.substr(dot + 1);
                p.name = p.region + "-" + std::to_string(i);
                p.version = "2";
                p.files.push_back({p.name, 2 << 20, {}});
                release.pieces.push_back(p);
                found.pieces.push_back({p.box, p.name, "1", ""});
            }
        sheet = change::change_sheet(family, release, found, set);
        sheet.from = "27.8.001";
        forecast = forecast::forecast(family, sheet, {});
        map = cutmap::power_cut_map(family, sheet, forecast, 2);
    }
    Question asked(const char* act, double at_s, double trouble_s, Power power, Now now) const {
        Question q{family, sheet, forecast, map, {}, {}, {}, {}, {}};
        q.seen.act = act;
        q.seen.act_at_s = q.seen.alive_s = at_s;
        q.seen.trouble_s = trouble_s;
        q.found.power = power;
        q.found.now = now;
        return q;
    }
};

const Step& brill() {
    static const Step step("brill", {{"main.system", 6}, {"main.start", 2}, {"main.recovery", 2}});
    return step;
}
const Step& pelm() {
    static const Step step("pelm", {{"main.base", 4}, {"main.system", 6}});
    return step;
}
const Attempt* attempt(const Answer& a, MendKind kind) {
    const auto t = std::find_if(a.attempts.begin(), a.attempts.end(), [&](const Attempt& x) { return x.kind == kind; });
    return t == a.attempts.end() ? nullptr : &*t;
}
bool withheld(const Answer& a, MendKind kind) {
    return std::any_of(a.withheld.begin(), a.withheld.end(), [&](const Withheld& w) { return w.kind == kind; });
}
bool has(const Answer& a, std::string_view code) {
    return std::any_of(a.judgement.reasons.begin(), a.judgement.reasons.end(),
                       [&](const Reason& r) { return r.code == code; });
}
// What is to be said next about where to look first.
std::string to_say(const Answer& a) {
    for (const Reason& r : a.judgement.reasons)
        if (r.code == "mend-look") return r.next.words();
    return "";
}

// Story 41: brill, power cut 8 s into the recovery zone: it starts, no net; the same card writes the recovery region
// and nothing else.
TEST(Mend, Story41RecoveryZoneOfOneStore) {
    const Answer a = mend(brill().asked("recovery", 900, 908, Power::lost, Now::starts));
    EXPECT_TRUE(a.no_net);
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
    ASSERT_EQ(a.outcomes.size(), 1u);
    EXPECT_EQ(a.outcomes.begin()->first, Outcome::starts_no_net);
    EXPECT_NEAR(a.outcomes.begin()->second.low, 1, 1e-9);
    EXPECT_EQ(a.attempts.front().kind, MendKind::same_card);
    EXPECT_EQ(a.attempts.front().writes, std::vector<std::string>{"main.recovery"});
    EXPECT_EQ(a.attempts.front().most, 2);
    ASSERT_TRUE(attempt(a, MendKind::recovery_card));  // the family has one, and the only place is in what it writes
    EXPECT_EQ(attempt(a, MendKind::recovery_card)->most, 1);
    EXPECT_EQ(a.attempts.back().kind, MendKind::hand_over);
    EXPECT_NE(a.sentence.find("no net"), std::string::npos) << a.sentence;
}

// In the start code nothing brings it back: no attempt, whatever was tried before.
TEST(Mend, StartCodeTornStops) {
    const Answer a = mend(brill().asked("start-code", 700, 720, Power::lost, Now::dark));
    EXPECT_TRUE(a.stop);
    EXPECT_EQ(a.attempts.size(), 1u);
    EXPECT_EQ(a.attempts.front().kind, MendKind::hand_over);
    EXPECT_TRUE(withheld(a, MendKind::same_card));
    EXPECT_NE(a.who_goes_on.find("test pads"), std::string::npos);
}

// What the box does now takes away what contradicts it: the same break, told by what is seen afterwards.
TEST(Mend, WhatTheBoxDoesNowDecides) {
    const auto at = [](Now now) {
        Question q = brill().asked("system", 200, 500, Power::lost, now);
        q.found.supply_holds = true;
        return mend(q);
    };
    const Answer recovery = at(Now::recovery);
    ASSERT_EQ(recovery.outcomes.size(), 1u);
    EXPECT_EQ(recovery.outcomes.begin()->first, Outcome::same_card);
    EXPECT_EQ(recovery.attempts.front().kind, MendKind::same_card);
    EXPECT_NEAR(recovery.attempts.front().helps.low, 1, 1e-9);
    EXPECT_TRUE(withheld(recovery, MendKind::recovery_card));  // the recovery region is whole: it is the net
    const Answer unsaid = at(Now::not_said);
    EXPECT_FALSE(unsaid.look.empty());
    EXPECT_TRUE(has(unsaid, "mend-look"));
}

TEST(Mend, NothingOnTheMapFitsIsSaidAndNotGuessed) {
    const Answer a = mend(brill().asked("reading", 0, 5, Power::lost, Now::dark));  // nothing is written yet
    EXPECT_TRUE(has(a, "mend-contradicted"));
    EXPECT_TRUE(a.outcomes.empty());
    EXPECT_FALSE(a.look.empty());
    EXPECT_EQ(a.attempts.front().kind, MendKind::hand_over);
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
}

// Still fed: never a power cycle where a cut there has no way back, and no card is touched.
TEST(Mend, StillFedItIsNotSwitchedOffInAZone) {
    const Answer zone = mend(brill().asked("start-code", 700, 760, Power::kept, Now::not_said));
    EXPECT_TRUE(withheld(zone, MendKind::power_off_and_on));
    EXPECT_TRUE(withheld(zone, MendKind::same_card));
    EXPECT_EQ(zone.attempts.front().kind, MendKind::wait);
    // What it shows comes first; a picture that stands still is an update that goes on.
    const Answer unsaid = mend(pelm().asked("system", 400, 500, Power::kept, Now::not_said));
    EXPECT_TRUE(withheld(unsaid, MendKind::power_off_and_on));
    EXPECT_NE(to_say(unsaid).find("now starts, recovery"), std::string::npos);
    EXPECT_EQ(unsaid.judgement.verdict(), Verdict::cant_say);
    const Answer stores = mend(pelm().asked("system", 400, 500, Power::kept, Now::goes_on));
    EXPECT_TRUE(attempt(stores, MendKind::power_off_and_on));
    EXPECT_EQ(stores.attempts.front().kind, MendKind::wait);  // and the wait comes first
}

// Two stores: a broken run goes on by itself, and nobody has to touch it.
TEST(Mend, WhatGoesOnByItselfIsLetGoOn) {
    const Answer a = mend(pelm().asked("system", 400, 500, Power::lost, Now::goes_on));
    EXPECT_EQ(a.attempts.front().kind, MendKind::wait);
    EXPECT_NEAR(a.attempts.front().helps.low, 1, 1e-9);
    EXPECT_FALSE(a.no_net);
    EXPECT_FALSE(a.stop);
}

TEST(Mend, AttemptsOfAKindAreLimited) {
    Question q = brill().asked("recovery", 900, 908, Power::lost, Now::starts);
    q.tried = {{MendKind::same_card, Came::nothing}};
    EXPECT_TRUE(attempt(mend(q), MendKind::same_card));
    EXPECT_TRUE(attempt(mend(q), MendKind::laid_again_card));  // only once the same one was tried
    q.tried.push_back({MendKind::same_card, Came::nothing});
    EXPECT_FALSE(attempt(mend(q), MendKind::same_card));
    EXPECT_TRUE(withheld(mend(q), MendKind::same_card));
    q.tried.push_back({MendKind::laid_again_card, Came::worse});
    const Answer worse = mend(q);
    EXPECT_TRUE(worse.stop);
    EXPECT_EQ(worse.attempts.size(), 1u);
}

// A count narrows the place: with three of the six pieces landed at that moment the head was at the fourth.
TEST(Mend, ATallyNarrowsThePlace) {
    Question q = brill().asked("system", 100, 0, Power::lost, Now::recovery);
    q.seen.landed = 3;
    q.seen.landed_at_s = q.seen.alive_s = q.seen.trouble_s = 260;
    const Answer a = mend(q);
    ASSERT_FALSE(a.places.empty());
    EXPECT_EQ(a.places.front().act, "system");
    EXPECT_EQ(a.places.front().cell, 3);
    EXPECT_NEAR(a.places.front().p, 1, 1e-9);
}

// Without a boot order nothing is assumed good: no power cycle, a card only when the box asks for it.
TEST(Mend, UnknownBootOrderOffersNothingByTheMap) {
    Step step("brill", {{"main.system", 3}, {"main.start", 1}});
    step.family.boot.clear();
    step.make({{"main.system", 3}, {"main.start", 1}});
    const Answer kept = mend(step.asked("system", 200, 300, Power::kept, Now::not_said));
    EXPECT_TRUE(has(kept, "boot-order-unknown"));
    EXPECT_TRUE(withheld(kept, MendKind::power_off_and_on));
    EXPECT_FALSE(attempt(mend(step.asked("system", 200, 300, Power::lost, Now::not_said)), MendKind::same_card));
    EXPECT_TRUE(attempt(mend(step.asked("system", 200, 300, Power::lost, Now::recovery)), MendKind::same_card));
}

// Where power has gone once and a second cut could end worse, the card waits for a supply that holds.
TEST(Mend, ASecondCutIsKeptOutFirst) {
    const Answer a = mend(brill().asked("system", 200, 500, Power::lost, Now::recovery));
    const Outcome worst = [&] {
        Outcome w = Outcome::nothing_changed;
        for (const auto& m : brill().map.moments)
            if (m.act == "system" && cutmap::badness(cutmap::worst(m.two_cuts)) > cutmap::badness(w))
                w = cutmap::worst(m.two_cuts);
        return w;
    }();
    if (!cutmap::no_way_back(worst)) GTEST_SKIP() << "the map has no second cut that ends worse";
    EXPECT_TRUE(withheld(a, MendKind::same_card));
    Question q = brill().asked("system", 200, 500, Power::lost, Now::recovery);
    q.found.supply_holds = true;
    EXPECT_TRUE(attempt(mend(q), MendKind::same_card));
    EXPECT_FALSE(attempt(mend(q), MendKind::same_card)->risk.empty());
}

TEST(Mend, ARunThatEndedWellIsNotMended) {
    Question q = brill().asked("end", 1000, 1000, Power::not_said, Now::not_said);
    q.seen.ended = true;
    EXPECT_TRUE(mend(q).nothing_to_mend);
    q.seen.refused = true;
    EXPECT_FALSE(mend(q).nothing_to_mend);
    EXPECT_TRUE(attempt(mend(q), MendKind::laid_again_card));
}

// What a box does after it said that it was done is no matter of the map: said, and nothing is offered but to hand
// over.
TEST(Mend, AfterItsEndTheMapSaysNothing) {
    Question q = brill().asked("end", 1000, 1000, Power::lost, Now::dark);
    q.seen.ended = true;
    const Answer dark = mend(q);
    EXPECT_FALSE(dark.nothing_to_mend);
    EXPECT_TRUE(dark.stop);
    EXPECT_TRUE(has(dark, "mend-after-end"));
    EXPECT_EQ(dark.attempts.size(), 1u);
    q.found.now = Now::starts;
    EXPECT_TRUE(mend(q).nothing_to_mend);
}

// Before it is told whether it was without power, no card is touched, and nothing is called broken or at its end.
TEST(Mend, WithoutTheTellingThingNoCardIsOffered) {
    const Answer a = mend(brill().asked("system", 200, 500, Power::not_said, Now::not_said));
    EXPECT_TRUE(withheld(a, MendKind::same_card));
    EXPECT_FALSE(attempt(a, MendKind::same_card));
    EXPECT_FALSE(a.stop);
    EXPECT_EQ(to_say(a), "say power lost or power kept");
    EXPECT_EQ(a.sentence.find("It broke"), std::string::npos) << a.sentence;
}

// Fed all the time, and it comes up: what it shows decides whether that is its end or a restart of its own.
TEST(Mend, ComingUpWithoutHavingLostPower) {
    Question q = brill().asked("recovery", 900, 908, Power::kept, Now::starts);
    EXPECT_EQ(to_say(mend(q)), "say it: release R");
    EXPECT_TRUE(withheld(mend(q), MendKind::same_card));
    EXPECT_FALSE(attempt(mend(q), MendKind::power_off_and_on));
    q.found.release = q.sheet.to;
    EXPECT_NE(mend(q).look.find("mark its end"), std::string::npos);
    EXPECT_TRUE(withheld(mend(q), MendKind::same_card));
    q.found.release = q.sheet.from;
    const Answer a = mend(q);
    EXPECT_TRUE(a.look.empty()) << a.look;
    EXPECT_EQ(a.attempts.front().kind, MendKind::wait);
    EXPECT_TRUE(attempt(a, MendKind::same_card));
    q.found.release = "99.9.9";
    EXPECT_TRUE(has(mend(q), "mend-release-odd"));
}

// Every sign, every span, everything that can be told: it answers, chances are chances, and no attempt but to hand over
// is offered where everything that remains has no way back.
TEST(Mend, AnswersWhateverIsTold) {
    for (const Step* step : {&brill(), &pelm()})
        for (std::size_t k = 0; k < step->family.script.size(); k += 3)
            for (const Power power : {Power::not_said, Power::lost, Power::kept})
                for (const Now now : {Now::not_said, Now::starts, Now::recovery, Now::goes_on, Now::dark}) {
                    const Answer a = mend(step->asked(step->family.script[k].id.c_str(), 100, 3100, power, now));
                    ASSERT_FALSE(a.attempts.empty());
                    EXPECT_FALSE(a.sentence.empty());
                    for (const auto& [o, c] : a.outcomes) {
                        EXPECT_LE(c.low, c.high + 1e-12);
                        EXPECT_LE(c.high, 1.0);
                    }
                    const bool dead =
                        !a.outcomes.empty() && std::all_of(a.outcomes.begin(), a.outcomes.end(),
                                                           [](const auto& o) { return cutmap::no_way_back(o.first); });
                    if (dead && power == Power::lost) {
                        EXPECT_EQ(a.attempts.size(), 1u);
                    }
                }
}

}  // namespace
}  // namespace fettle::mend
