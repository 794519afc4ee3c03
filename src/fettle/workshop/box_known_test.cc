#include "fettle/workshop/box_known.h"

#include <gtest/gtest.h>

namespace fettle::workshop {
namespace {

link::BoxInventory box(const char* plate, const char* serial) {
    link::BoxInventory b;
    b.role = "main";
    if (*plate) b.plate = {link::Known::read, plate, ""};
    if (*serial) b.serial = {link::Known::read, serial, ""};
    return b;
}

class BoxKnown : public ::testing::Test {
protected:
    BoxKnown() {
        job_.plates["main"] = "6104183C5";
        job_.said_before["main"].serial = "0001";
    }
    book::Job job_;
};

TEST_F(BoxKnown, AnotherPlateOrSerialNumberIsAnotherBox) {
    EXPECT_FALSE(other_box(job_, {box("6104183C5", "0001")}));
    EXPECT_FALSE(other_box(job_, {box("", "")}));  // not read says nothing
    EXPECT_FALSE(other_box(job_, {box(" 6104183C5 ", "0001")}));
    ASSERT_TRUE(other_box(job_, {box("6104183C6", "0001")}));
    const auto other = other_box(job_, {box("6104183C5", "0002")});
    ASSERT_TRUE(other);
    EXPECT_TRUE(other->certain);
    EXPECT_EQ(other->reason.verdict, Verdict::halt);
    job_.said_after["main"].serial = "0002";  // what it said last counts
    EXPECT_FALSE(other_box(job_, {box("6104183C5", "0002")}));
}

TEST_F(BoxKnown, WhoseEntriesWereClearedMustSayAgainWhoItIs) {
    link::BoxFaults memory;
    memory.role = "main";
    memory.known = link::Known::read;
    EXPECT_FALSE(nobody_known(job_, {box("", "")}, {memory}));
    book::Clearing c;
    c.box = "main";
    job_.clearings.push_back(c);
    ASSERT_TRUE(nobody_known(job_, {box("", "0001")}, {memory}));
    ASSERT_TRUE(nobody_known(job_, {box("6104183C5", "")}, {memory}));
    EXPECT_FALSE(nobody_known(job_, {box("6104183C5", "")}, {memory})->certain);
    EXPECT_FALSE(nobody_known(job_, {box("6104183C5", "0001")}, {memory}));
    memory.known = link::Known::refused;  // nothing that could settle anything
    EXPECT_FALSE(nobody_known(job_, {box("", "")}, {memory}));
}

}  // namespace
}  // namespace fettle::workshop
