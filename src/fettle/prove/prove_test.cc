#include "fettle/prove/prove.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/base/source_path.h"
#include "fettle/base/text.h"

namespace fettle::prove {
namespace {

class ProveTest : public testing::Test {
protected:
    ProveTest() {
        family_ = family::load_family(source_path("families/dunnock.toml")).value();
        release_.family = "dunnock";
        release_.release = "27.3.118";
        for (const char* name : {"a", "b", "c"}) add(name, "main", "system", "27.3.118");
        add("view", "display", "system", "27.3.118");
        add("same", "main", "system", "27.1.110");
        set_ = {{"main", {"27.1.110", "C", "NS", 1}}, {"display", {"27.1.110", "A", "NS", 1}}};
        change::InstalledList found;
        found.origin = Origin::read;
        for (const auto& p : release_.pieces) found.pieces.push_back({p.box, p.name, "27.1.110", ""});
        sheet_ = change::change_sheet(family_, release_, found, set_);
        expected_ = change::after(sheet_, release_, found);
        after_ = change::set_after(family_, set_, release_);
        all_good();
    }
    void add(const char* name, const char* box, const char* region, const char* version) {
        family::Piece p;
        p.name = name;
        p.box = box;
        p.region = region;
        p.version = version;
        p.files.push_back({p.name, 1000, {{"sha256", std::string(64, 'b')}}});
        release_.pieces.push_back(p);
    }
    void all_good() {
        e_ = {};
        e_.as_left = expected_;
        e_.as_left->origin = Origin::read;
        for (auto& p : e_.as_left->pieces) p.sha256.clear();
        e_.release_shown = "27.3.118";
        e_.tally =
            Counted{sheet_.tally.landed.expected, sheet_.tally.passed_over.expected, sheet_.tally.refused.expected, 0};
        e_.run_ended = true;
        e_.settled_s = 120;
        for (const char* role : {"main", "display"}) {
            e_.history_before[role] = {"26.4.102", "27.1.110"};
            e_.history_after[role] = {"26.4.102", "27.1.110", "27.3.118"};
            e_.path[role] = {"27.3.118"};
        }
        for (const auto& t : family_.trials) {
            if (t.when_complaint_has.empty()) e_.tried.push_back(t.words);
        }
    }
    Answer answer() const { return prove(family_, sheet_, expected_, after_, e_); }
    static bool has(const Answer& a, std::string_view code) {
        for (const Reason& r : a.judgement.reasons) {
            if (r.code == code) return true;
        }
        return false;
    }
    family::Family family_;
    family::Release release_;
    change::SetState set_, after_;
    change::ChangeSheet sheet_;
    change::InstalledList expected_;
    Evidence e_;
};

TEST_F(ProveTest, EverythingReadAndAsPlannedIsProved) {
    const Answer a = answer();
    EXPECT_EQ(a.proof, Proof::proved) << a.sentence;
    EXPECT_EQ(a.as_expected, 5);
    EXPECT_TRUE(a.missing.empty());
    EXPECT_EQ(a.sentence, "Proved: all 5 pieces are as planned (read over the link).");
}
TEST_F(ProveTest, OnePieceOfTheOldVersionFails) {
    e_.as_left->pieces[1].version = "27.1.110";
    const Answer a = answer();
    EXPECT_EQ(a.proof, Proof::failed);
    EXPECT_EQ(a.sentence, "Failed: main b: 27.3.118 expected, 27.1.110 found.");
}
TEST_F(ProveTest, OnePieceMissingFails) {
    e_.as_left->pieces.pop_back();
    EXPECT_EQ(answer().proof, Proof::failed);
}
// Two lines of five: of the others nothing is known, and nothing is proved by it.
TEST_F(ProveTest, SomeLinesOfTheListAreSomeLines) {
    e_.as_left->origin = Origin::typed;
    e_.as_left->pieces.resize(2);
    Answer a = answer();
    EXPECT_EQ(a.proof, Proof::partly) << a.sentence;
    EXPECT_EQ(a.differ, 0);
    EXPECT_EQ(a.not_read, 3);
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
    e_.as_left->pieces[0].version = "27.1.110";
    EXPECT_EQ(answer().proof, Proof::failed);
    e_.as_left->origin = Origin::read;  // over the link the list is whole
    a = answer();
    EXPECT_EQ(a.proof, Proof::failed);
    EXPECT_EQ(a.differ, 4);
}
TEST_F(ProveTest, APieceNobodyExpectedIsSaid) {
    e_.as_left->pieces.push_back({"main", "stranger", "1", ""});
    const Answer a = answer();
    EXPECT_EQ(a.proof, Proof::proved);
    EXPECT_EQ(a.pieces.back().state, PieceState::not_expected);
    EXPECT_EQ(a.judgement.verdict(), Verdict::mind);
}
TEST_F(ProveTest, AnotherDigestIsAnotherPiece) {
    for (auto& p : expected_.pieces) p.sha256 = std::string(64, 'b');
    e_.as_left = expected_;
    e_.as_left->origin = Origin::read;
    EXPECT_EQ(answer().proof, Proof::proved);
    e_.as_left->pieces[0].sha256 = std::string(64, 'c');
    EXPECT_EQ(answer().proof, Proof::failed);
}
// Story 53: with no link, what was not read is "not read", and the proof goes as far as typed facts carry.
TEST_F(ProveTest, NothingReadIsPartlyAndSaysSo) {
    e_.as_left.reset();
    e_.history_after.clear();
    const Answer a = answer();
    EXPECT_EQ(a.proof, Proof::partly);
    EXPECT_EQ(a.not_read, 5);
    EXPECT_TRUE(has(a, "as-left-not-read"));
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
    for (const auto& p : a.pieces) EXPECT_EQ(words(p.state), "not read");
}
// Story 54: inferred carries "inferred" with the range of what it cannot exclude.
TEST_F(ProveTest, InferredFromTheReleaseShownSaysSoWithItsRange) {
    e_.as_left->origin = Origin::inferred;
    e_.as_left->inferred_from = "27.3.118";
    const Answer a = answer();
    EXPECT_EQ(a.proof, Proof::partly);
    EXPECT_EQ(a.inferred, 5);
    EXPECT_EQ(a.as_expected, 0);
    bool found = false;
    for (const Reason& r : a.judgement.reasons) {
        if (r.code != "as-left-inferred") continue;
        found = true;
        EXPECT_NE(r.text.find("between 0 and 4"), std::string::npos) << r.text;
        EXPECT_EQ(r.rests_on, "inferred");
    }
    EXPECT_TRUE(found);
}
TEST_F(ProveTest, TheBoxShowsAnotherRelease) {
    e_.release_shown = "27.1.110";
    EXPECT_EQ(answer().proof, Proof::failed);
}
TEST_F(ProveTest, BoxesThatDoNotGoTogetherFail) {
    EXPECT_TRUE(has(answer(), "pair-holds"));
    e_.releases = {{"main", "27.3.118"}, {"display", "26.4.102"}};  // as they say themselves, whatever was planned
    const Answer a = answer();
    EXPECT_TRUE(has(a, "pair-broken"));
    EXPECT_TRUE(has(a, "release-differs"));
    EXPECT_EQ(a.proof, Proof::failed);
}
// What was planned is no proof of what is there: without its pieces and without its word a box's release is not known.
TEST_F(ProveTest, PairIsJudgedByWhatIsThere) {
    std::erase_if(e_.as_left->pieces, [](const auto& p) { return p.box == "display"; });
    EXPECT_TRUE(has(answer(), "pair-not-known"));
    all_good();
    e_.as_left->origin = Origin::inferred;
    e_.as_left->inferred_from = "27.3.118";
    const Answer inferred = answer();
    EXPECT_TRUE(has(inferred, "pair-holds"));
    for (const Reason& r : inferred.judgement.reasons) {
        if (r.code == "pair-holds") {
            EXPECT_EQ(r.verdict, Verdict::mind);
        }
    }
    e_.as_left.reset();
    EXPECT_TRUE(has(answer(), "pair-not-known"));
}
TEST_F(ProveTest, ATallyThatDoesNotAddUpIsNotProof) {
    ++*e_.tally->landed;
    EXPECT_NE(answer().proof, Proof::proved);
    EXPECT_TRUE(has(answer(), "tally-differs"));
    all_good();
    e_.tally->refused = 1;
    EXPECT_EQ(answer().proof, Proof::failed);
}
TEST_F(ProveTest, NeitherIsAPartOfATally) {
    e_.tally->refused.reset();
    EXPECT_EQ(answer().proof, Proof::partly);
}
TEST_F(ProveTest, SettlingTimeAndEndAreWanted) {
    e_.settled_s = 59;
    EXPECT_EQ(answer().proof, Proof::partly);
    all_good();
    e_.run_ended.reset();
    EXPECT_EQ(answer().proof, Proof::partly);
    EXPECT_TRUE(answer().to_give.contains(Give::end_of_run));
    e_.run_ended = false;
    EXPECT_EQ(answer().proof, Proof::partly);
    EXPECT_TRUE(answer().to_give.contains(Give::end_in_doubt));
}
TEST_F(ProveTest, FunctionsOfTheComplaintAreToBeTried) {
    e_.complaint = "Reversing picture freezes";
    const Answer a = answer();
    ASSERT_EQ(a.to_try.size(), 1u);
    EXPECT_EQ(a.proof, Proof::partly);
    e_.tried_bad = a.to_try;
    EXPECT_EQ(answer().proof, Proof::failed);
    e_.tried_bad.clear();
    e_.tried.push_back(a.to_try[0]);
    EXPECT_EQ(answer().proof, Proof::proved);
}
TEST_F(ProveTest, ARefusedTextFails) {
    e_.refused_texts = {"Part not taken"};
    EXPECT_EQ(answer().proof, Proof::failed);
}
TEST_F(ProveTest, HistoryThatNamesAnotherReleaseIsNotProof) {
    using List = std::vector<std::string>;
    const List bad[] = {{},
                        {"26.4.102", "27.1.110"},
                        {"26.4.102", "27.1.110", "27.3.117"},
                        {"26.4.102", "27.1.110", "27.3.118", "27.3.118"},
                        {"26.4.102", "27.1.110", "27.2.000", "27.3.118"},
                        {"26.1.090", "27.1.110", "27.3.118"}};
    for (const List& history : bad) {
        e_.history_after["display"] = history;
        EXPECT_TRUE(has(answer(), "history-differs")) << join(history, " ");
        EXPECT_EQ(answer().proof, Proof::partly) << join(history, " ");
    }
    e_.history_after["display"] = {"27.1.110", "27.3.118"};  // it keeps its last two only
    EXPECT_FALSE(has(answer(), "history-differs"));
}
TEST_F(ProveTest, WithoutAHistoryBeforeOnlyItsEndIsCompared) {
    e_.history_before.clear();
    EXPECT_EQ(answer().proof, Proof::proved);
    e_.history_after["main"] = {"27.3.118", "27.1.110"};
    EXPECT_TRUE(has(answer(), "history-differs"));
}
// A box that keeps a history and was read over the link owes it; one that keeps none does not.
TEST_F(ProveTest, AHistoryThatTheBoxKeepsIsWanted) {
    for (auto& b : family_.link) b.did_history = 0;
    e_.history_after.clear();
    EXPECT_EQ(answer().proof, Proof::proved);
    for (auto& b : family_.link) b.did_history = 0x0211;
    EXPECT_EQ(answer().proof, Proof::partly);
    e_.as_left->origin = Origin::typed;
    EXPECT_EQ(answer().proof, Proof::proved);
}

// Whatever is changed in the as-left list, it is proved only while every expected piece has its version.
TEST_F(ProveTest, ProvedNeverSurvivesAWrongPiece) {
    EXPECT_TRUE(rc::check([&] {
        all_good();
        bool wrong = false;
        for (auto& p : e_.as_left->pieces) {
            if (*rc::gen::weightedElement<bool>({{4, false}, {1, true}})) {
                p.version = *rc::gen::element<std::string>("", "27.1.110", "27.3.118", "zork");
            }
        }
        for (std::size_t i = 0; i < expected_.pieces.size(); ++i)
            wrong = wrong || e_.as_left->pieces[i].version != expected_.pieces[i].version;
        RC_ASSERT((answer().proof == Proof::proved) == !wrong);
    }));
}

}  // namespace
}  // namespace fettle::prove
