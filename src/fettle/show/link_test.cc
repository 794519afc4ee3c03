#include "fettle/show/link.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

const ShowAct none = [](const Proposal&) { return std::string(); };

link::BoxFaults memory(const char* role, link::Known known) {
    link::BoxFaults b;
    b.role = role;
    b.address = 0x1041;
    b.known = known;
    b.why = known == link::Known::read ? "" : "no answer within 2 s";
    return b;
}

TEST(ShowMemory, AMemoryThatWasNotReadIsNeverCalledEmpty) {
    workshop::MemoryRead read;
    read.boxes = {memory("main", link::Known::read), memory("display", link::Known::no_answer)};
    const Answer a = memory_read(read);
    EXPECT_NE(a.headline.find("1 of 2"), std::string::npos) << a.headline;
    EXPECT_NE(a.headline.find("not \"none\""), std::string::npos);
    EXPECT_NE(a.text.text(none).find("display (0x1041): not read"), std::string::npos);
    const json::array& boxes = a.data.at("boxes").as_array();
    EXPECT_TRUE(boxes[0].as_object().contains("entries"));
    EXPECT_FALSE(boxes[1].as_object().contains("entries"));
}

TEST(ShowMemory, AStrangersIsNotShownAsTheJobs) {
    workshop::MemoryRead read;
    read.boxes = {memory("main", link::Known::read)};
    read.stranger = {"main", false, {}};
    EXPECT_EQ(memory_read(read).headline,
              "Not kept: whether the main that answers is the one of this job is not known.");
    EXPECT_TRUE(memory_read(read).text.empty());
}

TEST(ShowCleared, NoAnswerIsNotKnownRatherThanDone) {
    workshop::FaultsCleared c;
    c.box = "main";
    c.sent = true;
    c.choice.codes = {"B1A4F-13"};
    c.result.certain = false;
    EXPECT_NE(faults_cleared(c, "R").headline.find("whether it did is not known"), std::string::npos);
    c.result.certain = true;
    c.result.why = "it gives no sign of life";
    EXPECT_EQ(faults_cleared(c, "R").headline,
              "Nothing was asked of the main, so nothing was cleared: it gives no sign of life.");
    c.result.answers.emplace_back();
    EXPECT_NE(faults_cleared(c, "R").headline.find("Nothing was cleared"), std::string::npos);
    c.result.done = {"B1A4F-13"};
    EXPECT_EQ(faults_cleared(c, "R").headline, "The main has cleared B1A4F-13; allowed by R.");
}

TEST(ShowRecording, ABrokenOneIsSaid) {
    EXPECT_EQ(recording_line(std::nullopt), "");
    EXPECT_EQ(recording_line(workshop::Recording{"a.pcapng", ""}), "Recorded in a.pcapng.\n");
    EXPECT_NE(recording_line(workshop::Recording{"a.pcapng", "disk full"}).find("not whole: disk full"),
              std::string::npos);
}

}  // namespace
}  // namespace fettle::show
