#include "fettle/base/verdict.h"

#include <gtest/gtest.h>

#include "fettle/base/result.h"

namespace fettle {
namespace {

Judgement with(std::initializer_list<Reason> reasons) {
    Judgement j;
    for (const Reason& r : reasons) j.add(r);
    return j;
}

TEST(Verdict, AWholeIsAsBadAsItsWorstPart) {
    const Verdict all[] = {Verdict::fit, Verdict::mind, Verdict::cant_say, Verdict::halt};
    EXPECT_EQ(Judgement{}.verdict(), Verdict::fit);
    for (const Verdict a : all)
        for (const Verdict b : all)
            EXPECT_EQ(with({{"x", a, "", "", "typed"}, {"y", b, "", "", "typed"}}).verdict(), a < b ? b : a);
}

TEST(Verdict, AGuessIsNeverFit) {
    EXPECT_EQ(with({{"x", Verdict::fit, "", "", "guess"}}).verdict(), Verdict::mind);
    EXPECT_EQ(with({{"x", Verdict::halt, "", "", "guess"}}).verdict(), Verdict::halt);
}

TEST(Verdict, Words) {
    EXPECT_EQ(words(Verdict::cant_say), "can't say");
    EXPECT_EQ(code(Verdict::cant_say), "cant-say");
    EXPECT_EQ(code(Verdict::halt), "halt");
}

TEST(Error, MessageHasPlaceProblemAndNextStep) {
    const tl::unexpected<Error> e = bad_input("x-y", "stick/release.json:3", "ends in mid-line", "copy it again");
    EXPECT_EQ(e.value().message(), "stick/release.json:3: ends in mid-line. Next: copy it again.");
    EXPECT_EQ(e.value().kind, ErrorKind::bad_input);
    EXPECT_EQ(usage_error("x", "", "p", "n").value().message(), "p. Next: n.");
}

}  // namespace
}  // namespace fettle
