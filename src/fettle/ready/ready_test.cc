#include "fettle/ready/ready.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/base/source_path.h"

namespace fettle::ready {
namespace {

class ReadyTest : public testing::Test {
protected:
    ReadyTest() {
        family_ = family::load_family(source_path("families/dunnock.toml")).value();
        forecast_.total = {1200, 1440, 1800, 2100};
        for (int i = 0; i < 100; ++i) forecast_.draws_s.push_back(1100 + 10 * i);
        forecast_.energy_p50_Ah = 0.9;
        forecast_.energy_p90_Ah = 1.1;
        forecast_.reserve_Ah = 0.4;
        forecast_.peak_A = 3.2;
        forecast_.rests_on = "measured 12";
        forecast::StateWindow asks;
        asks.act = "asks";
        asks.begins = {500, 600, 700, 800};
        asks.hands_on = true;
        forecast_.states.push_back(asks);
        map_.boot_order_known = true;
        s_.release = "27.3.118";
        s_.plan_verdict = Verdict::fit;
        s_.card_release = "27.3.118";
        s_.card_audited_good = true;
        s_.right_known = true;
        s_.told = {{"supply.volts", "13.5"}, {"supply.limit", "5"}, {"supply.lead_m", "2"}, {"supply.lead_mm2", "2.5"},
                   {"supply.fused", "yes"},  {"slots", "empty"},    {"knob", "answers"},    {"holds", "yes"},
                   {"person", "yes"},        {"call", "heard"}};
    }
    Check run() const { return check(family_, forecast_, map_, s_); }
    const Reason* find(const Check& c, std::string_view code) const {
        for (const Reason& r : c.judgement.reasons) {
            if (r.code == code) return &r;
        }
        return nullptr;
    }
    void in_vehicle() {
        s_.on_bench = false;
        s_.told = {{"support", "yes"},        {"supply.volts", "13.5"}, {"supply.limit", "40"}, {"supply.lead_m", "3"},
                   {"supply.lead_mm2", "16"}, {"vehicle.amps", "12"},   {"engine", "off"},      {"slots", "empty"},
                   {"knob", "answers"},       {"holds", "yes"},         {"person", "yes"},      {"call", "heard"}};
    }
    family::Family family_;
    forecast::Forecast forecast_;
    cutmap::CutMap map_;
    Situation s_;
};

TEST_F(ReadyTest, EverythingToldOnTheBenchIsFit) {
    const Check c = run();
    EXPECT_EQ(c.judgement.verdict(), Verdict::fit);
    EXPECT_TRUE(c.wanted.empty());
    EXPECT_TRUE(may_start(c.judgement, {}).yes);
    ASSERT_EQ(c.hands.size(), 1u);
    EXPECT_EQ(c.hands[0].from_s, 500);
}
TEST_F(ReadyTest, NothingToldIsCantSayByNameAndWantsTheKeys) {
    s_.told.clear();
    const Check c = run();
    EXPECT_EQ(c.judgement.verdict(), Verdict::cant_say);
    for (const char* key : {"supply.volts", "supply.limit", "slots", "knob", "hold.stick", "hold.support"})
        EXPECT_NE(std::find(c.wanted.begin(), c.wanted.end(), key), c.wanted.end()) << key;
    EXPECT_FALSE(may_start(c.judgement, {}).yes);
}
TEST_F(ReadyTest, ADeadKnobHalts) {
    s_.told["knob"] = "dead";
    const Check c = run();
    ASSERT_TRUE(find(c, "ask-control-dead"));
    EXPECT_EQ(c.judgement.verdict(), Verdict::halt);
}
// Story 22: the closing acknowledgement needs a touch area that is dead.
TEST_F(ReadyTest, ADeadTouchAreaHaltsUnlessThereIsAnotherWay) {
    family::Act& ask = *std::find_if(family_.script.begin(), family_.script.end(),
                                     [](const auto& a) { return a.kind == family::ActKind::ask; });
    ask.control = "touch";
    ask.area = "lower right";
    ask.answers = {{"press", 0, "goes on"}};
    s_.told.erase("knob");
    s_.told["touch.lower-right"] = "dead";
    EXPECT_EQ(run().judgement.verdict(), Verdict::halt);
    ask.answers.push_back({"key", 0, "goes on"});
    EXPECT_TRUE(find(run(), "ask-not-tested"));  // the key is another way in: try it
    s_.told["key"] = "answers";
    EXPECT_EQ(find(run(), "ask-other-way-answers")->verdict, Verdict::mind);
    ask.answers.back() = {"nothing", 120, "goes on"};
    EXPECT_EQ(find(run(), "ask-goes-on-by-itself")->verdict, Verdict::mind);
    ask.answers.back() = {"nothing", 120, "stops"};
    EXPECT_EQ(run().judgement.verdict(), Verdict::halt);
}
TEST_F(ReadyTest, AnAskOfUnknownControlIsCantSayByName) {
    for (auto& a : family_.script) {
        if (a.kind == family::ActKind::ask) a.control.clear();
    }
    EXPECT_EQ(find(run(), "ask-control-not-known")->verdict, Verdict::cant_say);
}
TEST_F(ReadyTest, WakeMomentsMatterOnABenchOnly) {
    family_.script[4].wake = "ignition feed";
    EXPECT_EQ(find(run(), "wake-feed-not-said")->where, family_.script[4].id);
    s_.told["wake." + family_.script[4].id] = "no";
    EXPECT_EQ(run().judgement.verdict(), Verdict::halt);
    s_.told["wake." + family_.script[4].id] = "yes";
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
    in_vehicle();
    EXPECT_FALSE(find(run(), "wake-feed-not-said"));
}
// Story 20: engine running with the bay door closed: exhaust first, and stop-start must be off.
TEST_F(ReadyTest, EngineRunningBehindAClosedDoorHalts) {
    in_vehicle();
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit) << run().judgement.reasons.size();
    s_.told["engine"] = "running";
    s_.told["bay-door"] = "closed";
    Check c = run();
    EXPECT_EQ(find(c, "exhaust-first")->verdict, Verdict::halt);
    EXPECT_TRUE(find(c, "stop-start-not-said"));
    EXPECT_NE(c.cautions.at(0).find("carbon monoxide"), std::string::npos);
    s_.told["bay-door"] = "open";
    s_.told["stop-start"] = "on";
    c = run();
    EXPECT_FALSE(find(c, "exhaust-first"));
    EXPECT_EQ(find(c, "stop-start-on")->verdict, Verdict::halt);
    s_.told["stop-start"] = "off";
    EXPECT_EQ(find(run(), "answers-contradict")->verdict,
              Verdict::halt);  // all holds were said, one of them "engine off"
    std::erase_if(family_.holds, [](const family::Hold& h) { return h.engine_off; });
    EXPECT_EQ(run().judgement.verdict(), Verdict::mind);
}
// Found from outside: a hold confirmed, one by one or with all of them, beside an answer that says otherwise.
TEST_F(ReadyTest, AnAnswerAgainstAConfirmedHoldStops) {
    in_vehicle();
    s_.told["support"] = "no";
    EXPECT_EQ(find(run(), "answers-contradict")->verdict, Verdict::halt);  // by "holds"
    s_.told.erase("holds");
    EXPECT_FALSE(find(run(), "answers-contradict"));
    s_.told["hold.support"] = "yes";
    EXPECT_TRUE(find(run(), "answers-contradict"));
    s_.told["support"] = "yes";
    s_.told["stop-start"] = "on";
    EXPECT_FALSE(find(run(), "answers-contradict"));
    s_.told["hold.stop-start"] = "yes";
    EXPECT_TRUE(find(run(), "answers-contradict"));
}
TEST_F(ReadyTest, AVehicleTimerShorterThanTheRunHalts) {
    in_vehicle();
    family_.supply->vehicle_off_after_s = 1500;
    EXPECT_TRUE(find(run(), "vehicle-timer-too-short"));
    s_.told["timer-held"] = "yes";
    EXPECT_TRUE(find(run(), "vehicle-timer-held"));
    s_.told.erase("timer-held");
    family_.supply->vehicle_off_after_s.reset();
    EXPECT_EQ(find(run(), "vehicle-timer-not-known")->verdict, Verdict::cant_say);
}
TEST_F(ReadyTest, HoldsGoByPlace) {
    s_.told.erase("holds");
    s_.told["hold.stick"] = "yes";
    s_.told["hold.support"] = "no";
    const Check c = run();
    EXPECT_EQ(find(c, "hold-not-kept")->where, "support");
    for (const Item& i : c.items) EXPECT_EQ(i.words.find("doors"), std::string::npos);
}
TEST_F(ReadyTest, CardOfAnotherReleaseHaltsAndAnUnauditedOneIsCantSay) {
    s_.card_audited_good = false;
    EXPECT_EQ(find(run(), "card-not-audited")->verdict, Verdict::cant_say);
    s_.card_release = "27.1.110";
    EXPECT_EQ(find(run(), "card-other-release")->verdict, Verdict::halt);
    s_.card_release.reset();
    EXPECT_EQ(find(run(), "card-not-known")->verdict, Verdict::cant_say);
}
TEST_F(ReadyTest, OneWayDoorNeedsConsent) {
    s_.one_way_door = true;
    EXPECT_EQ(find(run(), "one-way-no-consent")->verdict, Verdict::halt);
    s_.one_way_consent = true;
    EXPECT_EQ(find(run(), "one-way-consented")->verdict, Verdict::mind);
}
TEST_F(ReadyTest, RightPlanAndKeepings) {
    s_.right_known = false;
    EXPECT_EQ(run().judgement.verdict(), Verdict::halt);
    s_.right_known.reset();
    EXPECT_EQ(run().judgement.verdict(), Verdict::cant_say);
    s_.right_known = true;
    s_.plan_verdict = Verdict::halt;
    EXPECT_EQ(run().judgement.verdict(), Verdict::halt);
    s_.plan_verdict.reset();
    EXPECT_TRUE(find(run(), "no-plan"));
    s_.plan_verdict = Verdict::fit;
    s_.keepings.push_back({"keeping-1", "map card", "sd", "", false});
    EXPECT_EQ(find(run(), "keeping-not-tagged")->verdict, Verdict::mind);
    s_.told["slots"] = "not-empty";
    EXPECT_EQ(run().judgement.verdict(), Verdict::halt);
}
TEST_F(ReadyTest, ZonesAreToldAndAnUnknownBootOrderIsCantSay) {
    cutmap::Stretch zone;
    zone.outcomes = {cutmap::Outcome::bench_repair};
    zone.first_act = zone.last_act = "start-code";
    zone.from_p50_s = 150;
    map_.stretches.push_back(zone);
    map_.no_way_back_p90_s = 30;
    EXPECT_EQ(find(run(), "no-way-back-ahead")->verdict, Verdict::mind);
    map_.boot_order_known = false;
    EXPECT_EQ(find(run(), "boot-order-not-known")->verdict, Verdict::cant_say);
}

// A person at a time is an input like a knob: not said is can't say by name, nobody is a halt, unless it goes on alone.
TEST_F(ReadyTest, SomebodyMustBeThereInTheWindow) {
    s_.told.erase("person");
    EXPECT_EQ(find(run(), "person-not-said")->where, "asks");
    EXPECT_EQ(find(run(), "person-not-said")->verdict, Verdict::cant_say);
    s_.told["person.asks"] = "no";
    EXPECT_EQ(find(run(), "person-missing")->verdict, Verdict::halt);
    for (auto& a : family_.script)
        if (a.kind == family::ActKind::ask) a.answers.push_back({"nothing", 300, "goes on"});
    EXPECT_EQ(find(run(), "person-missing-goes-on")->verdict, Verdict::mind);
    s_.told["person.asks"] = "yes";
    EXPECT_EQ(find(run(), "person-promised")->verdict, Verdict::fit);
}
TEST_F(ReadyTest, OneTestCallIsAskedFor) {
    s_.told.erase("call");
    const Check c = run();
    EXPECT_EQ(find(c, "call-not-tried")->verdict, Verdict::mind);
    EXPECT_NE(std::find(c.wanted.begin(), c.wanted.end(), "call"), c.wanted.end());
    s_.told["call"] = "not-heard";
    EXPECT_EQ(find(run(), "call-not-heard")->verdict, Verdict::mind);
    s_.told["call"] = "staying";
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
    forecast_.states.clear();  // nobody is needed in mid-run: nothing to call for
    s_.told.erase("call");
    EXPECT_FALSE(find(run(), "call-not-tried"));
}
TEST_F(ReadyTest, ASecondCardMustBeAtHand) {
    for (auto& a : family_.script) {
        if (a.kind != family::ActKind::ask) continue;
        a.control = "card";
        a.card = 2;
        a.answers = {{"card", 0, "goes on"}};
    }
    EXPECT_EQ(find(run(), "next-card-not-said")->verdict, Verdict::cant_say);
    EXPECT_TRUE(check_answer(family_, "card.2", "no"));
    EXPECT_FALSE(check_answer(family_, "card.3", "no"));
    s_.told["card.2"] = "no";
    EXPECT_EQ(find(run(), "next-card-missing")->verdict, Verdict::halt);
    s_.told["card.2"] = "yes";
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
}
TEST_F(ReadyTest, EveryCardThatTheReleaseTakesMustBeAtHandAskedForOrNot) {
    family_.card->in_turn = {3, 64u << 20, true};
    s_.cards = 3;
    s_.told["card.2"] = "yes";
    EXPECT_EQ(find(run(), "next-card-not-said")->where, "card.3");
    EXPECT_TRUE(check_answer(family_, "card.3", "no"));
    EXPECT_FALSE(check_answer(family_, "card.4", "no"));
    s_.told["card.3"] = "no";
    EXPECT_EQ(find(run(), "next-card-missing")->verdict, Verdict::halt);
    s_.told["card.3"] = "yes";
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
    // What was audited for this step needs no word; what was found bad is not made good by one.
    s_.told.erase("card.2");
    s_.further_cards = {{2, true}};
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
    s_.told["card.2"] = "no";
    EXPECT_EQ(find(run(), "next-card-missing")->verdict, Verdict::halt);
    s_.told["card.2"] = "yes";
    s_.further_cards = {{2, false}};
    EXPECT_EQ(find(run(), "card-not-audited")->where, "card.2");
    EXPECT_EQ(find(run(), "card-not-audited")->verdict, Verdict::cant_say);
    s_.further_cards.clear();
    s_.cards = 1;  // this one fits on one card
    s_.told.erase("card.2");
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
}
TEST_F(ReadyTest, AnUnknownScriptIsCantSayByName) {
    family_.script.clear();
    forecast_.states.clear();
    EXPECT_EQ(find(run(), "asks-not-known")->verdict, Verdict::cant_say);
}
TEST_F(ReadyTest, AFamilyThatNobodyWatchedMayAskForMore) {
    family_.level = "L2";
    EXPECT_EQ(find(run(), "asks-not-watched")->verdict, Verdict::mind);
    family_.level = "L3";
    EXPECT_FALSE(find(run(), "asks-not-watched"));
}
TEST_F(ReadyTest, AStateWithoutCurrentIsCantSayAndNotNothing) {
    forecast::StateWindow kernel;
    kernel.act = "kernel";
    kernel.lasts = {300, 400, 500, 600};
    forecast_.states.push_back(kernel);
    for (auto& a : family_.script)
        if (a.id == "kernel") a.current.reset();
    const Check c = run();
    ASSERT_TRUE(find(c, "current-partly-not-known"));
    EXPECT_NE(find(c, "current-partly-not-known")->text.find("kernel"), std::string::npos);
    EXPECT_EQ(c.judgement.verdict(), Verdict::cant_say);
}
TEST_F(ReadyTest, AnOldReadingOfTheSupplyIsNotTakenForNow) {
    s_.read_s_ago = {{"supply.volts", 1700}, {"supply.limit", 1700}};
    EXPECT_EQ(run().judgement.verdict(), Verdict::fit);
    s_.read_s_ago["supply.limit"] = 1801;
    EXPECT_EQ(find(run(), "supply-reading-old")->verdict, Verdict::mind);
}
// What every run wants is asked even where the file lists no hold.
TEST_F(ReadyTest, GeneralHoldsAreAskedWithoutAnEntry) {
    in_vehicle();
    s_.told.erase("holds");
    family_.holds.clear();
    std::vector<std::string> asked;
    for (const Reason& r : run().judgement.reasons)
        if (r.code == "hold-not-confirmed") asked.push_back(r.where);
    EXPECT_EQ(asked,
              (std::vector<std::string>{"doors", "lights", "key", "other-testers", "stop-start", "charger", "medium"}));
    EXPECT_TRUE(check_answer(family_, "hold.lights", "yes"));
    s_.on_bench = true;
    EXPECT_EQ(find(run(), "hold-not-confirmed")->where, "medium");
}

TEST_F(ReadyTest, AnswersAreCheckedByKeyAndValue) {
    EXPECT_TRUE(check_answer(family_, "knob", "dead"));
    EXPECT_TRUE(check_answer(family_, "asks", "answers"));
    EXPECT_TRUE(check_answer(family_, "hold.doors", "yes"));
    EXPECT_TRUE(check_answer(family_, "supply.volts", "13.5"));
    for (const auto& [k, v] : {std::pair{"knob", "maybe"},
                               {"hold.zork", "yes"},
                               {"zork", "1"},
                               {"supply.volts", "lots"},
                               {"supply.volts", "13,5"},
                               {"supply.volts", "nan"},
                               {"supply.volts", "-1"},
                               {"battery.health", "800"},
                               {"touch.upper", "dead"},
                               {"reading", "answers"}})
        EXPECT_EQ(check_answer(family_, k, v).error().kind, ErrorKind::usage) << k << "=" << v;
}

class AcceptTest : public testing::Test {
protected:
    AcceptTest() {
        j_.add({"lead-not-said", Verdict::mind, "", "supply", ""});
        j_.add({"hold-not-confirmed", Verdict::cant_say, "", "stick", ""});
        j_.add({"hold-not-confirmed", Verdict::cant_say, "", "support", ""});
        j_.add({"slots-not-said", Verdict::cant_say, "", "slots", ""});
        j_.add({"card-good", Verdict::fit, "", "card", ""});
    }
    static Acceptance by(const char* code) { return {code, "R. Tern", "looked at it"}; }
    Judgement j_;
};
TEST_F(AcceptTest, EveryCantSayNeedsItsOwnSignature) {
    EXPECT_EQ(may_start(j_, {}).standing.size(), 3u);
    std::vector<Acceptance> a = {by("slots-not-said"), by("hold-not-confirmed:stick")};
    EXPECT_EQ(may_start(j_, a).standing.size(), 1u);
    a.push_back(by("hold-not-confirmed:support"));
    EXPECT_TRUE(may_start(j_, a).yes);
}
TEST_F(AcceptTest, ASharedCodeSignsNothing) {
    EXPECT_EQ(may_start(j_, {by("hold-not-confirmed")}).standing.size(), 3u);
    EXPECT_EQ(may_accept(j_, by("hold-not-confirmed")).error().code, "acceptance-not-single");
}
TEST_F(AcceptTest, MindNeedsNoSignatureAndTakesOne) {
    EXPECT_TRUE(may_accept(j_, by("lead-not-said")));
}
// Signed for while it was a mind; then it turned out that nothing is known.
TEST_F(AcceptTest, ASignatureCoversWhatWasSignedAndNothingWorse) {
    Judgement j;
    j.add({"lead-not-said", Verdict::cant_say, "", "supply", ""});
    Acceptance a = by("lead-not-said");
    a.verdict = Verdict::mind;
    EXPECT_FALSE(may_start(j, {a}).yes);
    a.verdict = Verdict::cant_say;
    EXPECT_TRUE(may_start(j, {a}).yes);
}
TEST_F(AcceptTest, AHaltIsNeverAccepted) {
    j_.add({"exhaust-first", Verdict::halt, "", "engine", ""});
    EXPECT_EQ(may_accept(j_, by("exhaust-first")).error().code, "halt-not-acceptable");
    EXPECT_EQ(may_accept(j_, by("exhaust-first:engine")).error().code, "halt-not-acceptable");
    const MayStart m = may_start(j_, {by("exhaust-first"), by("exhaust-first:engine"), by("slots-not-said"),
                                      by("hold-not-confirmed:stick"), by("hold-not-confirmed:support")});
    EXPECT_FALSE(m.yes);
    ASSERT_EQ(m.standing.size(), 1u);
    EXPECT_EQ(m.standing[0].code, "exhaust-first");
}
TEST_F(AcceptTest, ASignatureNeedsNameAndReason) {
    EXPECT_EQ(may_accept(j_, {"slots-not-said", " ", "x"}).error().code, "signature-incomplete");
    EXPECT_EQ(may_start(j_, {{"slots-not-said", "", "x"}}).standing.size(), 3u);
    EXPECT_EQ(may_accept(j_, by("card-good")).error().code, "acceptance-names-nothing");
}

}  // namespace
}  // namespace fettle::ready
