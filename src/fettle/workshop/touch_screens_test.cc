#include "fettle/workshop/touch_screens.h"

#include <gtest/gtest.h>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

// The example brill asks for a touch at the lower right to end its run; the example dunnock asks for its knob.
class TouchScreens : public ::testing::Test {
protected:
    TouchScreens() {
        auto book = must(open_book(w_.shop));
        number_ = must(book.open_job(R"({"customer":"1007","place":"bench"})", w_.clock.at));
        IdentifyRequest who;
        who.plates = {"5201176B5"};
        who.views = {"26.2.040 NS"};
        who.job = number_;
        must(identify(w_.shop, who));
    }
    Result<Touched> touch(std::vector<std::string> said) { return touch_screens(w_.shop, {number_, std::move(said)}); }
    std::size_t answers() const { return must(load_job(w_.shop, number_)).answers.size(); }

    TestWorkshop w_;
    std::string number_;
};

TEST_F(TouchScreens, WithNothingSaidItIsLookedAtAndNothingIsKept) {
    const Touched t = must(touch({}));
    ASSERT_EQ(t.screens.size(), 1u);
    EXPECT_EQ(t.screens[0].needs[0].state, "");
    EXPECT_TRUE(t.script_known);
    EXPECT_EQ(t.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(answers(), 0u);
}

TEST_F(TouchScreens, AnAreaIsNamedByItsWordsItsKeyOrItsNumber) {
    EXPECT_EQ(must(touch({"lower right=dead"})).judgement.verdict(), Verdict::halt);
    EXPECT_EQ(must(touch({"touch.lower-right=answers"})).judgement.verdict(), Verdict::fit);
    EXPECT_EQ(must(touch({"1=dead"})).judgement.reasons.at(0).code, "touch-dead");
    EXPECT_EQ(must(load_job(w_.shop, number_)).answers.at("touch.lower-right"), "dead");
    EXPECT_EQ(must(touch({})).judgement.verdict(), Verdict::halt);  // as said before
}

TEST_F(TouchScreens, OneWrongWordAndNothingIsKept) {
    const auto nowhere = touch({"lower right=answers", "upper left=answers"});
    ASSERT_FALSE(nowhere);
    EXPECT_EQ(nowhere.error().code, "touch-area-unknown");
    EXPECT_NE(nowhere.error().next.words().find("lower right"), std::string::npos);
    EXPECT_EQ(touch({"lower right=perhaps"}).error().code, "answer-value-wrong");
    EXPECT_EQ(touch({"lower right"}).error().code, "answer-not-key-value");
    EXPECT_EQ(answers(), 0u);
}

TEST(TouchScreensOfOthers, AScriptWithoutATouchNeedsNone) {
    const TestJob t;
    const Touched none = must(touch_screens(t.shop, {t.number, {}}));
    EXPECT_TRUE(none.screens.empty());
    EXPECT_EQ(none.judgement.verdict(), Verdict::fit);
}

}  // namespace
}  // namespace fettle::workshop
