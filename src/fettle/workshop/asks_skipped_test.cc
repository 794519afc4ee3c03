#include "fettle/workshop/asks_skipped.h"

#include <gtest/gtest.h>

namespace fettle::workshop {
namespace {

class Asks : public ::testing::Test {
protected:
    Asks() {
        for (const char* id : {"copying", "first", "second"}) {
            family::Act a;
            a.id = id;
            if (a.id != "copying") a.kind = family::ActKind::ask;
            family_.script.push_back(a);
        }
        job_.runs.emplace_back();
    }
    std::vector<std::string> after(const std::vector<std::string>& events, RunState outcome) {
        book::Run& run = job_.runs.back();
        run.marks.clear();
        for (const std::string& e : events)
            run.marks.push_back({static_cast<std::int64_t>(run.marks.size()) + 10, e, 0, "tap", false, "", ""});
        run.outcome = outcome;
        return asks_skipped(family_, job_);
    }
    family::Family family_;
    book::Job job_;
};

using Ids = std::vector<std::string>;

TEST_F(Asks, AreSkippedWhenSaidSoOrNeverAnswered) {
    EXPECT_EQ(after({"asks", "answered", "asks", "answered"}, RunState::ended), Ids{});
    EXPECT_EQ(after({"asks", "skipped", "asks", "answered"}, RunState::ended), Ids{"first"});
    EXPECT_EQ(after({"asks", "asks", "answered"}, RunState::ended), Ids{"first"});  // the next came before an answer
    EXPECT_EQ(after({"second", "answered"}, RunState::ended), Ids{});               // by its name
    EXPECT_EQ(after({}, RunState::ended), (Ids{"first", "second"}));                // it ended, so it asked both
}

TEST_F(Asks, OfABrokenRunCountOnlyIfTheyCame) {
    EXPECT_EQ(after({}, RunState::broken_off), Ids{});
    EXPECT_EQ(after({"asks"}, RunState::broken_off), Ids{"first"});
    EXPECT_EQ(after({"asks", "answered"}, RunState::broken_off), Ids{});
}

TEST_F(Asks, CountAsAnsweredWhenSomebodySettledThem) {
    book::LooseEnd end;
    end.id = "ask-first";
    end.settled = true;
    end.settled_by = "R";
    end.entry = 20;
    job_.loose_ends.push_back(end);
    EXPECT_EQ(after({"asks", "skipped"}, RunState::ended), Ids{});
    job_.loose_ends[0].settled_by = "the journal";  // a rule of the book, not a person
    EXPECT_EQ(after({"asks", "skipped"}, RunState::ended), (Ids{"first", "second"}));
    job_.loose_ends[0].settled_by = "R";
    job_.loose_ends[0].entry = 5;  // of a run before
    EXPECT_EQ(after({"asks", "skipped"}, RunState::ended), (Ids{"first", "second"}));
    job_.runs.clear();
    EXPECT_EQ(asks_skipped(family_, job_), Ids{});
}

}  // namespace
}  // namespace fettle::workshop
