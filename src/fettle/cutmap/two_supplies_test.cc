// Boxes that are fed apart: power can fail at one alone.
#include "fettle/cutmap/cutmap_test_help.h"

namespace fettle::cutmap {
namespace {

// --- two supplies ----------------------------------------------------------------------------------------------------

family::Family fed_apart() {
    auto f = dunnock();
    for (auto& b : f.boxes) b.supply = b.role;
    return f;
}

TEST(TwoSupplies, ABoxThatTheRunDoesNotNeedStartsAgainMeanwhile) {
    const auto m = map_of(fed_apart(), dunnock_sheet());
    EXPECT_EQ(m.supplies, 2);
    // Both or the main box: the same card takes it up. The display box alone: the main box goes on writing itself.
    EXPECT_EQ(at(m, "kernel", 0).outcomes, (Outcomes{same_card, goes_on_by_itself}));
    EXPECT_EQ(at(m, "reading", -1).outcomes, (Outcomes{nothing_changed, goes_on_by_itself}));
    // The start code stays what it is: no way back, unless it was the display box that went dark.
    EXPECT_EQ(at(m, "start-code", 0).outcomes, (Outcomes{bench_repair, goes_on_by_itself}));
    EXPECT_NE(at(m, "start-code", 0).story.find("Power goes while"), std::string::npos);
}

TEST(TwoSupplies, ABoxThatIsBeingWrittenNeedsItsWriter) {
    auto f = fed_apart();
    const auto m = map_of(f, dunnock_sheet());
    EXPECT_EQ(at(m, "display", 0).outcomes, Outcomes{same_card});  // whichever goes dark: it breaks off
    // Written from its own medium it does not need the main box.
    for (auto& b : f.boxes) b.written_by = "own medium";
    EXPECT_EQ(at(map_of(f, dunnock_sheet()), "display", 0).outcomes, (Outcomes{same_card, goes_on_by_itself}));
}

TEST(TwoSupplies, ABoxThatDiesAloneIsDeadAllTheSame) {
    auto f = fed_apart();
    for (auto& r : f.regions) {
        if (r.box == "display") r.stores = 1, r.selected_by.clear();
    }
    std::erase_if(f.boot, [](const family::BootRule& b) { return b.box == "display" && b.store == "spare"; });
    for (auto& a : f.script) a.store.clear();
    // The display box is written in place. Dark itself it does not start again, and no way in is named; if the main box
    // alone goes dark the display box is still up and takes the write again.
    const auto m = map_of(f, dunnock_sheet());
    EXPECT_EQ(at(m, "display", 0).outcomes, (Outcomes{same_card, lost}));
    EXPECT_TRUE(at(m, "display", 0).story.find("Power goes while") != std::string::npos ||
                at(m, "display", 0).story.find("Power of the display box alone goes") != std::string::npos);
}

TEST(TwoSupplies, FedTogetherItIsTheMapOfOneSupply) {
    auto f = fed_apart();
    for (auto& b : f.boxes) b.supply = "the bench";
    const auto one = map_of(dunnock(), dunnock_sheet(), 2);
    const auto named = map_of(f, dunnock_sheet(), 2);
    ASSERT_EQ(one.moments.size(), named.moments.size());
    EXPECT_EQ(named.supplies, 1);
    for (std::size_t i = 0; i < one.moments.size(); ++i) EXPECT_EQ(one.moments[i].two_cuts, named.moments[i].two_cuts);
}

// --- what holds of every map
// -------------------------------------------------------------------------------------------

// States that were only watched: nobody knows in which of them something is written, so no moment is called harmless.

}  // namespace
}  // namespace fettle::cutmap
