// Runs written down second by second; what they must teach is counted by hand.
#include "fettle/learn/learn.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace fettle::learn {
namespace {

const std::string thin = R"(# measured by ear, so far
[family]
id = "wren"
marque = "Vellmoor"
words = "Wren radio"  # what we call it
level = "L0"
[[box]]
role = "main"
words = "radio"
[box.plate]
pattern = '58\d{5}'
examples = ["5801234"]
)";

constexpr UnixMs start = 1'700'000'000'000;

Seen run(std::string id, std::vector<std::pair<std::string, double>> marks, double end_s) {
    Seen s;
    s.run = std::move(id);
    s.day = "2026-10-02";
    s.observed.started = start;
    s.ended = start + static_cast<UnixMs>(end_s * 1000);
    for (const auto& [event, at] : marks)
        s.observed.marks.push_back({event, start + static_cast<UnixMs>(at * 1000), "tap", false});
    s.observed.marks.push_back({"ended", s.ended, "tap", false});
    return s;
}

Seen first() {
    Seen s =
        run("00000000000000aa", {{"dark", 60}, {"restarted", 70}, {"back", 95}, {"asks", 200}, {"answered", 230}}, 400);
    s.replies.push_back({start + 230'000, "touch", "lower right"});
    s.observed.shown.push_back({"Touch to go on", start + 201'000});
    s.observed.shown.push_back({"Update 3/4", start + 100'000});
    watch::TallyReading t;
    t.landed = 4;
    t.refused = 0;
    t.at = start + 390'000;
    s.observed.tally.push_back(t);
    for (int i = 0; i < 400; ++i) {
        SupplySample a;
        a.t = start + i * 1000;
        a.volts = 13.5;
        a.amps = i >= 60 && i < 95 ? 0.5 : 2.0;
        s.observed.supply.push_back(a);
    }
    return s;
}

Learnt learn_from(const std::string& toml, const Seen& seen) {
    const family::Loaded loaded = family::load_family_text(toml);
    EXPECT_TRUE(loaded.mistakes.empty()) << (loaded.mistakes.empty() ? "" : loaded.mistakes[0].problem);
    return learn(loaded.family, toml, seen);
}

std::set<int> all_of(const Learnt& l) {
    std::set<int> out;
    for (std::size_t i = 0; i < l.lines.size(); ++i) out.insert(static_cast<int>(i) + 1);
    return out;
}

std::string taken(const std::string& toml, const Seen& seen, const std::string& by = "") {
    const Learnt l = learn_from(toml, seen);
    const auto out = apply(toml, seen, l, all_of(l), by);
    EXPECT_TRUE(out) << (out ? "" : out.error().message());
    return out ? *out : toml;
}

family::Family load(const std::string& toml) {
    family::Loaded l = family::load_family_text(toml);
    EXPECT_TRUE(l.mistakes.empty());
    return std::move(l.family);
}

const Line* line(const Learnt& l, const std::string& key) {
    const auto at = std::find_if(l.lines.begin(), l.lines.end(), [&](const Line& x) { return x.key == key; });
    return at == l.lines.end() ? nullptr : &*at;
}

TEST(Learn, WritesTheStatesOfAFirstRun) {
    const std::string toml = taken(thin, first());
    EXPECT_TRUE(toml.starts_with(thin));  // remarks, order, everything before
    const family::Family f = load(toml);
    ASSERT_EQ(f.script.size(), 6u);
    const std::vector<std::pair<std::string, double>> expected = {
        {"works-1", 60}, {"restart-1", 35}, {"works-2", 105}, {"asks-1", 30}, {"works-3", 170}};
    for (std::size_t i = 0; i < expected.size(); ++i) {
        EXPECT_EQ(f.script[i].id, expected[i].first);
        ASSERT_TRUE(f.script[i].seconds);
        EXPECT_DOUBLE_EQ(f.script[i].seconds->median_s, expected[i].second);
        EXPECT_EQ(f.script[i].seconds->source, "measured 1");
        EXPECT_GT(f.script[i].seconds->p90_s, f.script[i].seconds->median_s);
    }
    EXPECT_EQ(f.script[1].kind, family::ActKind::restart);
    EXPECT_TRUE(f.script[1].dark);
    ASSERT_TRUE(f.script[1].current);
    EXPECT_NEAR(f.script[1].current->mean_A, 0.5, 0.01);
    EXPECT_NEAR(f.script[4].current->mean_A, 2.0, 0.01);
    EXPECT_EQ(f.script[3].control, "touch");
    EXPECT_EQ(f.script[3].area, "lower right");
    EXPECT_EQ(f.script[3].shows, "Touch to go on");
    ASSERT_EQ(f.script[3].answers.size(), 1u);
    EXPECT_EQ(f.script[3].answers[0].how, "press");
    EXPECT_EQ(f.script[5].kind, family::ActKind::end);
    ASSERT_TRUE(f.tally);
    EXPECT_EQ(f.tally->landed, "landed (its word is not known)");
    EXPECT_TRUE(f.tally->to_come.empty());  // it was not counted
    ASSERT_EQ(f.messages.size(), 1u);       // the ask's own text is not one more message
    EXPECT_EQ(f.messages[0].sure, "guess");
    ASSERT_EQ(f.watched.size(), 1u);
    EXPECT_EQ(f.watched[0].run, "00000000000000aa");
}

TEST(Learn, NeverTheBootOrder) {
    const Learnt l = learn_from(thin, first());
    for (const Line& x : l.lines) EXPECT_EQ(x.key.find("boot"), std::string::npos);
    EXPECT_TRUE(std::any_of(l.not_learnt.begin(), l.not_learnt.end(), [](auto& s) { return s.starts_with("boot"); }));
    const family::Family f = load(taken(thin, first()));
    EXPECT_TRUE(f.boot.empty());
    EXPECT_TRUE(f.bench.empty());
    EXPECT_TRUE(f.regions.empty());
    EXPECT_FALSE(f.supply);
}

TEST(Learn, CountsRunsAndTellsTheOdds) {
    EXPECT_EQ(odds_of_longest(1), "n = 1: 1 in 2 that the next is no longer");
    EXPECT_EQ(odds_of_longest(9), "n = 9: 9 in 10 that the next is no longer");
    const std::string once = taken(thin, first());
    Seen second = run("00000000000000bb", {{"restarted", 64}, {"back", 103}, {"asks", 210}, {"answered", 220}}, 400);
    const Learnt l = learn_from(once, second);
    const Line* s = line(l, "act.works-1.seconds");
    ASSERT_NE(s, nullptr);
    EXPECT_NE(s->rests_on.find("n = 2: 2 in 3"), std::string::npos);
    const family::Family f = load(taken(once, second, "R. Marsh"));
    EXPECT_DOUBLE_EQ(f.script[0].seconds->median_s, 62);
    EXPECT_EQ(f.script[0].seconds->source, "measured 2");
    EXPECT_EQ(f.script[0].seconds->seen_s, (std::vector<double>{60, 64}));
    EXPECT_EQ(f.watched.size(), 2u);
}

TEST(Learn, TheSameRunIsCountedOnce) {
    const std::string once = taken(thin, first());
    const Learnt l = learn_from(once, first());
    EXPECT_TRUE(l.seen_before);
    EXPECT_TRUE(l.lines.empty());
    EXPECT_EQ(taken(once, first()), once);
    // What was not accepted at first may be later, and still counts one run.
    const Learnt some = learn_from(thin, first());
    std::set<int> acts;
    for (int n = 1; n <= 6; ++n) acts.insert(n);
    const std::string part = *apply(thin, first(), some, acts, "");
    EXPECT_TRUE(load(part).messages.empty());
    const family::Family later = load(taken(part, first()));
    EXPECT_EQ(later.messages.size(), 1u);
    EXPECT_EQ(later.script[0].seconds->source, "measured 1");
    EXPECT_EQ(later.watched.size(), 1u);
}

TEST(Learn, ARunThatSaysOtherwiseIsNamedAndNotAveraged) {
    const std::string once = taken(thin, first());
    // 400 s where 60 s were: a hand that slept, another medium, or a box that hung. The rest is as it was.
    const Seen odd =
        run("00000000000000cc", {{"restarted", 400}, {"back", 436}, {"asks", 540}, {"answered", 560}}, 740);
    const Learnt l = learn_from(once, odd);
    ASSERT_EQ(l.contradicts.size(), 1u);
    EXPECT_EQ(l.contradicts[0], "works-1 took 400 s; the run before it 60 to 60 s");
    EXPECT_EQ(line(l, "act.works-1.seconds"), nullptr);
    const family::Family f = load(taken(once, odd, "R. Marsh"));
    EXPECT_EQ(f.script[0].seconds->seen_s, (std::vector<double>{60}));
    ASSERT_EQ(f.watched.size(), 2u);
    EXPECT_EQ(f.watched[1].contradicts, l.contradicts);

    // A second restart: the script has none left. What came before it still teaches.
    const Seen twice = run("00000000000000dd",
                           {{"restarted", 61}, {"back", 96}, {"restarted", 150}, {"back", 180}, {"asks", 240}}, 400);
    const Learnt m = learn_from(once, twice);
    ASSERT_FALSE(m.contradicts.empty());
    EXPECT_NE(m.contradicts[0].find("at 150 s it restarted, and the script has nothing left"), std::string::npos);
    EXPECT_NE(line(m, "act.works-1.seconds"), nullptr);
    EXPECT_EQ(line(m, "act.asks-1.seconds"), nullptr);
    EXPECT_EQ(load(taken(once, twice, "R. Marsh")).script.size(), 6u);
}

TEST(Learn, AnotherControlThanTheFileHasIsNamed) {
    const std::string once = taken(thin, first());
    Seen other = run("00000000000000ee", {{"restarted", 61}, {"back", 97}, {"asks", 200}, {"answered", 231}}, 400);
    other.replies.push_back({start + 231'000, "turn", ""});
    const Learnt l = learn_from(once, other);
    ASSERT_EQ(l.contradicts.size(), 1u);
    EXPECT_EQ(l.contradicts[0], "asks-1 was answered by turn (knob); the file has the touch");
}

TEST(Learn, WhatWeakensTheFileWantsAName) {
    const std::string once = taken(thin, first());
    // Shorter than before: the median falls, so it loosens. Longer by far: median and nine-in-ten rise, it does not.
    const Seen quick =
        run("00000000000000ff", {{"restarted", 40}, {"back", 80}, {"asks", 330}, {"answered", 370}}, 550);
    const Learnt l = learn_from(once, quick);
    ASSERT_NE(line(l, "act.works-1.seconds"), nullptr);
    EXPECT_TRUE(line(l, "act.works-1.seconds")->loosens);
    ASSERT_NE(line(l, "act.works-2.seconds"), nullptr);
    EXPECT_FALSE(line(l, "act.works-2.seconds")->loosens);
    const family::Family f = load(taken(once, quick, "R. Marsh"));
    EXPECT_EQ(f.watched[1].allowed_by, "R. Marsh");
}

TEST(Learn, AMakersFigureAndOneWithoutItsTimesAreNotReplaced) {
    std::string toml = taken(thin, first());
    const std::string own = "{ median = 60, p90 = ";
    const std::size_t at = toml.find(own), end = toml.find('}', at);
    ASSERT_NE(at, std::string::npos);
    toml.replace(at, end + 1 - at, "{ median = 60, p90 = 90, source = \"maker's paper\" }  # page 12");
    const Seen second =
        run("00000000000000bb", {{"restarted", 64}, {"back", 103}, {"asks", 210}, {"answered", 220}}, 400);
    const Learnt l = learn_from(toml, second);
    EXPECT_EQ(line(l, "act.works-1.seconds"), nullptr);
    EXPECT_TRUE(std::any_of(l.not_learnt.begin(), l.not_learnt.end(),
                            [](auto& s) { return s.find("works-1: took 64 s") == 0; }));
    EXPECT_NE(taken(toml, second, "R. Marsh").find("# page 12"), std::string::npos);
}

TEST(Learn, NothingAcceptedChangesNothing) {
    const Learnt l = learn_from(thin, first());
    EXPECT_EQ(*apply(thin, first(), l, {}, "R. Marsh"), thin);
    // A state alone, without the end of the run, is no script.
    const auto alone = apply(thin, first(), l, {1}, "");
    if (!alone) {
        EXPECT_EQ(alone.error().code, "learnt-not-usable");
    }
}

// Median and nine-in-ten: from nine values on they are of the values themselves. Before, Student's t with 3 + n − 1
// degrees over a spread of 0.35 worth three runs: for one run of 100 s t(0.9; 3) = 1.638 (published tables), so 100 ·
// exp(1.638 · 0.35 · √2) = 225 s.
TEST(Learn, NineInTen) {
    const Times one = times_of({100});
    EXPECT_DOUBLE_EQ(one.median_s, 100);
    EXPECT_NEAR(one.p90_s, 225, 1);
    const Times nine = times_of({9, 1, 8, 2, 7, 3, 6, 4, 5});
    EXPECT_DOUBLE_EQ(nine.median_s, 5);
    EXPECT_DOUBLE_EQ(nine.p90_s, 9);
    EXPECT_GT(times_of({8, 1, 7, 2, 6, 3, 5, 4}).p90_s, 8);  // the longest of eight: 8 of 9, which is less
    std::vector<double> nineteen;
    for (int i = 1; i <= 19; ++i) nineteen.push_back(i);
    EXPECT_DOUBLE_EQ(times_of(nineteen).p90_s, 18);  // the 18th of 19: 18 of 20
    for (std::size_t n = 1; n < 9; ++n) {
        std::vector<double> same(n, 50.0);
        EXPECT_GE(times_of(same).p90_s, 50);
        same.back() = 200;
        EXPECT_GE(times_of(same).p90_s, 200);
    }
}

TEST(Learn, MarksThatFitNowhereAreNamed) {
    const Seen s = run("00000000000000ab", {{"back", 10}, {"answered", 20}, {"dark", 30}, {"back", 30}}, 100);
    const Learnt l = learn_from(thin, s);
    ASSERT_EQ(l.contradicts.size(), 2u);
    EXPECT_EQ(l.contradicts[0], "at 10 s it came back, and had not been marked dark");
    EXPECT_EQ(l.contradicts[1], "at 20 s an ask was answered, and had not been marked");
    EXPECT_NE(line(l, "watched.contradicts"), nullptr);
}

}  // namespace
}  // namespace fettle::learn
