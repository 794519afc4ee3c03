#include "fettle/workshop/keep_thing.h"

#include <gtest/gtest.h>

#include "fettle/workshop/store.h"
#include "fettle/workshop/take_in.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

TEST(KeepThing, IsTypedAsSlotWordsAndTag) {
    const Keeping all = must(thing_typed("  B2: owner's map card #17 "));
    EXPECT_EQ(all.slot, "B2");
    EXPECT_EQ(all.words, "owner's map card");
    EXPECT_EQ(all.tag, "17");
    EXPECT_EQ(words_of(all), "B2: owner's map card #17");
    const Keeping plain = must(thing_typed("spare key"));
    EXPECT_EQ(plain.words, "spare key");
    EXPECT_EQ(words_of(plain), "spare key");
    for (const char* empty : {"", "  ", "B2:", "B2: "}) {
        const auto none = thing_typed(empty);
        ASSERT_FALSE(none) << empty;
        EXPECT_EQ(none.error().code, "keep-form");
    }
}

class Kept : public ::testing::Test {
protected:
    Kept() {
        TakeInRequest r;
        r.customer = "1007";
        r.keep = {must(thing_typed("map card"))};
        number_ = must(take_in(t_.shop, r)).job;
    }
    book::Job job() { return must(load_job(t_.shop, number_)); }
    TestWorkshop t_;
    std::string number_;
};

TEST_F(Kept, IdsGoOnFromThoseThatAreThere) {
    const KeptThings more = must(keep_things(t_.shop, {number_, {{"", "key", "", ""}, {"", "bag", "", ""}}}));
    ASSERT_EQ(more.things.size(), 2u);
    EXPECT_EQ(more.things[0].id, "keeping-2");
    EXPECT_EQ(more.things[1].id, "keeping-3");
    ASSERT_EQ(job().keepings.size(), 3u);
    EXPECT_EQ(job().keepings[2].words, "bag");
    const auto nothing = keep_things(t_.shop, {number_, {}});
    ASSERT_FALSE(nothing);
    EXPECT_EQ(nothing.error().code, "keep-form");
}

TEST_F(Kept, IsGivenBackByItsNumberAlone) {
    const ReturnedThing back = must(return_thing(t_.shop, {number_, "1", "R. Moor"}));
    EXPECT_EQ(back.id, "keeping-1");
    EXPECT_EQ(back.words, "map card");
    EXPECT_TRUE(job().keepings[0].returned);
    EXPECT_TRUE(job().open_ends().empty());
}

TEST_F(Kept, GivingBackHasANameAndAKnownThing) {
    const auto nobody = return_thing(t_.shop, {number_, "1", " "});
    ASSERT_FALSE(nobody);
    EXPECT_EQ(nobody.error().code, "option-missing");
    const auto unknown = return_thing(t_.shop, {number_, "7", "R"});
    ASSERT_FALSE(unknown);
    EXPECT_EQ(unknown.error().code, "keeping-unknown");
    EXPECT_NE(unknown.error().problem.find("keeping-1"), std::string::npos);
    EXPECT_FALSE(job().keepings[0].returned);
}

}  // namespace
}  // namespace fettle::workshop
