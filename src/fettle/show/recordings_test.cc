#include "fettle/show/recordings.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

const ShowAct none = [](const Proposal&) { return std::string(); };

TEST(ShowRecordings, WhatTheRecordingHadNoAnswerToIsNamed) {
    workshop::Replayed r;
    r.recorded = 12;
    EXPECT_EQ(replayed(r).headline, "Nobody asked anything; the recording holds 12 questions.");
    r.asked = 3;
    r.not_in_it = {"22 F1 90"};
    r.cut_short = true;
    const Answer a = replayed(r);
    EXPECT_EQ(a.headline, "3 questions were asked; the recording holds 12.");
    EXPECT_NE(a.text.text(none).find("not in it: 22 F1 90"), std::string::npos);
    EXPECT_NE(a.text.text(none).find("ends in mid packet"), std::string::npos);
    EXPECT_EQ(a.data.at("not_in_it"), json::array({"22 F1 90"}));
}

TEST(ShowRecordings, ACopyWithoutNamesSaysThatItMayStillHaveSome) {
    workshop::Blanked b;
    b.out = "copy.pcapng";
    b.bytes_changed = 1;
    EXPECT_EQ(blanked(b).headline, "copy.pcapng is a copy without VIN and serial numbers; 1 byte differs.");
    EXPECT_NE(blanked(b).text.text(none).find("look at it before you"), std::string::npos);
}

// Gone before is not erased now: whoever asked must be able to see the difference.
TEST(ShowRecordings, AFileThatWasGoneIsNotCalledErased) {
    EXPECT_EQ(erased({}).headline, "No recording of this job was there to erase.");
    workshop::Erased e;
    e.files = {{"a.pcapng", "00ff", false}, {"b.pcapng", "", true}};
    const Answer a = erased(e);
    EXPECT_NE(a.text.text(none).find("a.pcapng: erased\n  b.pcapng: was gone already\n"), std::string::npos);
    const json::array& files = a.data.at("erased").as_array();
    EXPECT_EQ(files[0].at("sha256"), "00ff");
    EXPECT_EQ(files[0].as_object().if_contains("was"), nullptr);
    EXPECT_EQ(files[1].at("was"), "gone");
    EXPECT_EQ(files[1].as_object().if_contains("sha256"), nullptr);
}

}  // namespace
}  // namespace fettle::show
