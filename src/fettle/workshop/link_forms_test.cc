#include "fettle/workshop/link_forms.h"

#include <gtest/gtest.h>

#include "fettle/base/source_path.h"

namespace fettle::workshop {
namespace {

using link::Fact;
using link::Known;

class LinkForms : public ::testing::Test {
protected:
    LinkForms() : family_(family::load_family(source_path("families/dunnock.toml")).value()) {
        box_.role = "main";
        box_.plate = {Known::read, "6104183C5", {}};
        box_.serial = {Known::read, "S-1", {}};
        box_.release = {Known::read, "27.1.110", {}};
        box_.market = {Known::read, "NS", {}};
    }
    const family::Family family_;
    link::BoxInventory box_;
};

void expect_odd(const Fact& f, const std::string& why) {
    EXPECT_EQ(f.known, Known::unreadable);
    EXPECT_EQ(f.value, "");
    EXPECT_EQ(f.why, why);
}

TEST_F(LinkForms, WhatHasTheFamilysFormStaysAsItWasRead) {
    hold_against_forms(box_, family_);
    EXPECT_EQ(box_.plate.value, "6104183C5");
    EXPECT_EQ(box_.release.value, "27.1.110");
    EXPECT_EQ(box_.market.value, "NS");
    for (const Fact* f : {&box_.plate, &box_.release, &box_.market}) EXPECT_EQ(f->known, Known::read) << f->why;
}

TEST_F(LinkForms, APlateWithAWrongCheckCharacterIsNoPlate) {
    box_.plate.value = "6104183C4";  // a counter example of the family file
    hold_against_forms(box_, family_);
    expect_odd(box_.plate, "\"6104183C4\" has not the form of the box's plate of this family");
    EXPECT_EQ(box_.release.known, Known::read);
}

TEST_F(LinkForms, APlateOfAnotherBoxIsNotThisBoxes) {
    box_.plate.value = "6402207A4";
    hold_against_forms(box_, family_);
    EXPECT_EQ(box_.plate.known, Known::unreadable);
    box_.role = "display";
    box_.plate = {Known::read, "6402207A4", {}};
    hold_against_forms(box_, family_);
    EXPECT_EQ(box_.plate.known, Known::read);
}

TEST_F(LinkForms, AReleaseThatWasCutIsNone) {
    for (const char* cut : {"27.1", "27.1.", "27.1.110 NS", "x27.1.110", ""}) {
        box_.release = {Known::read, cut, {}};
        hold_against_forms(box_, family_);
        expect_odd(box_.release, "\"" + std::string(cut) + "\" has not the form of a release of this family");
    }
}

TEST_F(LinkForms, AMarketOfAnotherFormIsNone) {
    box_.market.value = "N";
    hold_against_forms(box_, family_);
    expect_odd(box_.market, "\"N\" has not the form of a market of this family");
}

TEST_F(LinkForms, AReleaseThatIsReadAsAnotherFieldsTextIsNone) {
    family::Family loose = family_;
    loose.order.rule.clear();
    loose.view.pattern = "(?P<release>[0-9.]+)(?P<rest>[ A-Za-z]+)";
    loose.view.examples = {"27.1.110 NS"};
    box_.release.value = "27.1.110 beta";  // as a view it fits: its release is 27.1.110, and that is not what was read
    hold_against_forms(box_, loose);
    EXPECT_EQ(box_.release.known, Known::unreadable);
}

TEST_F(LinkForms, BlanksRoundAboutAreNothing) {
    box_.release.value = " 27.1.110 ";
    box_.plate.value = " 6104183C5";
    hold_against_forms(box_, family_);
    EXPECT_EQ(box_.release.known, Known::read);
    EXPECT_EQ(box_.plate.known, Known::read);
}

TEST_F(LinkForms, WhatWasNotReadKeepsItsOwnWhy) {
    box_.plate = {Known::refused, {}, "31: not here"};
    box_.release = {Known::no_answer, {}, "nothing came"};
    hold_against_forms(box_, family_);
    EXPECT_EQ(box_.plate.known, Known::refused);
    EXPECT_EQ(box_.plate.why, "31: not here");
    EXPECT_EQ(box_.release.known, Known::no_answer);
}

TEST_F(LinkForms, ABoxThatTheFileDoesNotNameHasNoPlateRule) {
    box_.role = "radar";
    box_.plate.value = "anything";
    hold_against_forms(box_, family_);
    EXPECT_EQ(box_.plate.known, Known::read);
}

}  // namespace
}  // namespace fettle::workshop
