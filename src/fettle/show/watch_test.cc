#include "fettle/show/watch.h"

#include <gtest/gtest.h>

#include "fettle/show/mark.h"
#include "fettle/show/promises.h"
#include "fettle/show/wall.h"

namespace fettle::show {
namespace {

std::string by_name(const Proposal& act) {
    std::string out(name_of(act.act));
    for (const Argument& a : act.arguments) out += " " + a.value;
    return out;
}

workshop::JobRun begun() {
    workshop::JobRun run;
    run.number = "0001X";
    run.job.runs.emplace_back();
    run.job.runs.back().started = 1'700'000'000'000;
    return run;
}

workshop::RunLook look_of(const workshop::JobRun& run) {
    const book::Run& which = run.job.runs.back();
    workshop::RunLook look{run.number, "L0", which, {}, workshop::RunFollow(run, which), {}};
    look.where = look.follow.tick(which.started + 600'000);
    look.judgement = look.where.judgement;
    return look;
}

TEST(ShowRun, TheSentenceIsTheHeadlineAndStandsOnce) {
    const workshop::RunLook look = look_of(begun());
    const Answer a = run_looked_at(look, {80, true, true});
    EXPECT_EQ(a.headline, look.where.sentence);
    EXPECT_EQ(a.text.text(by_name).find(look.where.sentence), std::string::npos);
    EXPECT_EQ(a.data.at("standing").as_string(), "running");
    EXPECT_FALSE(a.data.contains("times"));
    EXPECT_EQ(run_looked_at(look, {132, true, true}).width, 132u);
}

TEST(ShowRun, HowLongItTookIsHeldAgainstThePromiseThatWasMade) {
    workshop::JobRun run = begun();
    run.job.runs.back().times = book::RunTimes{1, 1440, "", 0, 0, false, 0};
    Answer a = run_looked_at(look_of(run), {});
    EXPECT_NE(a.text.text(by_name).find("Took 24 min.\n"), std::string::npos);
    EXPECT_FALSE(a.data.at("times").as_object().contains("kept"));
    run.job.runs.back().times = book::RunTimes{1, 1440, "", 1200, 1380, false, 54};
    a = run_looked_at(look_of(run), {});
    EXPECT_NE(a.text.text(by_name).find("promised were 20 min (even odds) to 23 min (9 in 10): not kept"),
              std::string::npos);
    EXPECT_FALSE(a.data.at("times").at("kept").as_bool());
}

TEST(ShowRun, WhatStandsAgainstAStartIsNamedWithTheActsThatSettleIt) {
    workshop::Started s{"0001X", "L3", false, {{"no-plan", Verdict::cant_say, "there is no plan", "plan", "journal"}}};
    const Answer a = not_started(s);
    EXPECT_EQ(a.headline, "Not started: 1 point stands against it.");
    EXPECT_NE(a.text.text(by_name).find("check-ready 0001X\n"), std::string::npos);
    EXPECT_NE(a.text.text(by_name).find("accept 0001X CODE NAME TEXT\n"), std::string::npos);
    EXPECT_FALSE(a.data.at("begun").as_bool());
    EXPECT_EQ(a.data.at("standing").as_array().size(), 1u);
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
}

TEST(ShowRun, LinesOfATickAreNoWiderThanAskedWhateverStandsInThem) {
    workshop::RunLook look = look_of(begun());
    look.where.judgement.add({"x", Verdict::mind, std::string(200, 'y') + " z", "", ""});
    look.where.judgement.add({"x", Verdict::fit, "all is well", "", ""});
    const auto lines = tick_lines(look.follow.follow(), look.where, {"a note"}, {60, true, true});
    std::size_t long_ones = 0;
    for (const std::string& l : lines) {
        EXPECT_LE(l.size(), 60u) << l;
        long_ones += l.find("yyyy") != std::string::npos;
        EXPECT_EQ(l.find("all is well"), std::string::npos);
    }
    EXPECT_GE(long_ones, 4u);
    EXPECT_EQ(lines.back(), "a note");
}

TEST(ShowMark, SaysWhatWasMarkedOrTakenBackAndWhatComesNext) {
    workshop::JobRun run = begun();
    workshop::Marked m{workshop::Sign::event, "dark", false, {}, look_of(run)};
    EXPECT_EQ(marked(m).headline, "Marked: dark.");
    EXPECT_NE(marked(m).text.text(by_name).find("If power went now: "), std::string::npos);
    m.taken_back = true;
    EXPECT_EQ(marked(m).headline, "Taken back: mark \"dark\".");
    run.job.runs.back().outcome = RunState::broken_off;
    run.job.runs.back().ended = run.job.runs.back().started + 1000;
    const workshop::Marked off{workshop::Sign::event, "broken-off", false, {}, look_of(run)};
    EXPECT_EQ(marked(off).headline, "Marked: broken off.");
    EXPECT_NE(marked(off).text.text(by_name).find("mend 0001X\n"), std::string::npos);
    const workshop::Marked text{workshop::Sign::text, "a\nb", false, watch::TextMeaning{}, look_of(run)};
    EXPECT_EQ(marked(text).headline, "\"a\\x0ab\" is not known to this family; kept word for word.");
}

TEST(ShowWall, NamesWhoNeedsHandsFirst) {
    workshop::Wall w;
    EXPECT_EQ(wall(w, 80, true).headline, "No run is open.");
    w.rows.push_back({"0001X", "Writing.", {}, 600, false});
    EXPECT_EQ(wall(w, 80, true).headline, "One run is open; none needs hands any more.");
    w.asks = {{"0001X", "asks", watch::evenly(1200, 1800), 180}, {"bench 2", "asks", watch::evenly(600, 900), 180}};
    EXPECT_EQ(wall(w, 80, true).headline, "Next: bench 2 in 10 to 14 min.");
    w.asks.push_back({"bench 3", "asks", watch::evenly(0, 0), 180});
    w.clashes = {{0, 1, 0.2}};
    w.next = workshop::Wall::Next{"job 00042", 0.8, {}, 0};
    const Answer a = wall(w, 80, true);
    EXPECT_EQ(a.headline, "Next: bench 3 needs hands now.");
    ASSERT_EQ(a.judgement.reasons.size(), 2u);
    EXPECT_EQ(a.judgement.reasons[0].text, "0001X and bench 2 may want hands at once: 1 in 5");
    EXPECT_EQ(a.judgement.reasons[1].code, "no-free-start");
}

}  // namespace
}  // namespace fettle::show
