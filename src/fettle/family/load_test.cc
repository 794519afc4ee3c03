#include <gtest/gtest.h>

#include "fettle/family/family.h"

namespace fettle::family {
namespace {

TEST(LoadFamily, ReadsTheExampleWhole) {
    const auto f = load_family(FETTLE_SOURCE_DIR "/families/dunnock.toml");
    ASSERT_TRUE(f) << f.error().message();
    EXPECT_EQ(f->id, "dunnock");
    EXPECT_EQ(f->newest_as_of, "2026-10-02");
    ASSERT_EQ(f->boxes.size(), 2u);
    EXPECT_EQ(f->boxes[1].plate.values.at("role").at("64"), "display box");
    EXPECT_EQ(f->view.values.at("market").size(), 3u);
    EXPECT_EQ(f->script.size(), 14u);
    EXPECT_EQ(f->boot.size(), 5u);
    EXPECT_EQ(f->boot[0].when.at("update"), "pending");
    ASSERT_NE(f->region("display", "system"), nullptr);
    EXPECT_EQ(f->region("display", "system")->stores, 2);
    EXPECT_EQ(f->act("asks")->answers.size(), 2u);
    EXPECT_EQ(f->link[1].address, 0x1042);
    EXPECT_EQ(f->package->piece_fields.at("size"), "/bytes");
    EXPECT_EQ(f->digest.size(), 64u);
}

}  // namespace
}  // namespace fettle::family
