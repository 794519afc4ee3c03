// The order of questions: expected orders are computed by hand from which answer waits for which keys.
#include "fettle/family/questions.h"

#include <gtest/gtest.h>

#include <set>

#include "fettle/base/source_path.h"

namespace fettle::family {
namespace {

Finding unknown(std::string key) {
    return {1, std::move(key), "is not known", "waits", true};
}

std::vector<std::string> keys(const std::vector<Question>& questions) {
    std::vector<std::string> out;
    for (const Question& q : questions) out.push_back(q.key);
    return out;
}

TEST(Questions, NumbersOfEntriesDoNotMakeTwoQuestions) {
    EXPECT_EQ(key_without_numbers("act[12].seconds"), "act.seconds");
    EXPECT_EQ(key_without_numbers("boot"), "boot");
    const auto q = questions_of({unknown("act[1].seconds"), unknown("act[2].seconds")});
    ASSERT_EQ(q.size(), 1u);
    EXPECT_EQ(q[0].at.size(), 2u);
}

// By themselves boot unlocks 3 answers (the map, one of ready's, mend) and the seconds 4 as well (two times, hands,
// slow or stuck), but these bring two more nearer, which wait for the current too.
TEST(Questions, TheOneThatUnlocksMostComesFirst) {
    const auto q =
        questions_of({unknown("try"), unknown("act[1].current"), unknown("boot"), unknown("act[1].seconds")});
    EXPECT_EQ(keys(q), (std::vector<std::string>{"act.seconds", "boot", "act.current", "try"}));
    EXPECT_EQ(q[0].unlocks.size(), 4u);
    EXPECT_EQ(q[1].unlocks.size(), 3u);
    EXPECT_EQ(q[0].towards.size(), 2u);
    EXPECT_EQ(q[2].unlocks,
              (std::vector<std::string>{"ready: whether the supply lasts", "watch: the same by the current"}));
}

TEST(Questions, EveryUnknownOfAThinFileHasWordsAndUnlocksSomething) {
    const Loaded thin = load_family_text(R"([family]
id = "thin"
marque = "Vellmoor"
words = "thin"
level = "L0"
[[box]]
role = "main"
words = "box"
[box.plate]
pattern = '\d{4}'
likely = []
[[box]]
role = "display"
words = "box"
[box.plate]
pattern = '[A-Z]{4}'
)");
    const auto questions = questions_of(thin.unknowns);
    ASSERT_GT(questions.size(), 12u);
    std::size_t places = 0;
    for (const Question& q : questions) {
        EXPECT_EQ(q.words.back(), q.words.find("(Never") == std::string::npos ? '?' : ')') << q.key;
        EXPECT_FALSE(q.unlocks.empty() && q.towards.empty()) << q.key;
        places += q.at.size();
    }
    EXPECT_EQ(places, thin.unknowns.size());
    // What a run does is what most answers wait for.
    EXPECT_EQ(questions[0].key, "act");
}

TEST(Questions, AFullFileAsksLittleAndEachExampleIsCovered) {
    for (const char* name : {"dunnock", "brill", "pelm"}) {
        const auto f = load_family(source_path(std::string("families/") + name + ".toml"));
        ASSERT_TRUE(f);
        EXPECT_FALSE(f->boot.empty());
    }
    EXPECT_TRUE(questions_of({}).empty());
}

}  // namespace
}  // namespace fettle::family
