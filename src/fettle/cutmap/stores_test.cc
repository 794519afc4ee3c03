// A box with two stores: which of them it starts from decides what a cut leaves. By hand from the boot rule; the plain
// enumeration is asked the same.
#include <gtest/gtest.h>

#include "fettle/cutmap/cutmap.h"
#include "fettle/cutmap/test_naive.h"
#include "fettle/cutmap/test_random.h"

namespace fettle::cutmap {
namespace {

using random_families::act;
using enum Outcome;

// One box with two stores, starting only from the active one, so that the store it starts from decides everything.
family::Family two_stores() {
    family::Family f;
    f.id = "two-stores";
    family::Box box;
    box.role = "main";
    f.boxes.push_back(box);
    f.flags.push_back({"main", "active", {"a", "b"}, "a"});
    family::Region system;
    system.box = "main";
    system.name = "system";
    system.rate_mib_s = 1;
    system.overhead_s = 1;
    system.buffered_s = 0;
    system.stores = 2;
    system.selected_by = "active";
    f.regions.push_back(system);
    family::BootRule rule;
    rule.box = "main";
    rule.mode = "normal";
    rule.needs = {"system"};
    rule.store = "active";
    rule.goes_on = "not at all";
    f.boot.push_back(rule);
    return f;
}

// Of each moment with one cut; they come in script order.
std::vector<Outcomes> outcomes(const family::Family& f) {
    change::ChangeSheet s;
    s.lines.push_back({"main", "maps", "system", "1", "2", change::Action::replace, "", 1000, false});
    const auto want = naive::Naive(f, s).map(1);
    const auto got = power_cut_map(f, s, {}, 1).moments;
    std::vector<Outcomes> out;
    EXPECT_EQ(got.size(), want.size());
    for (std::size_t i = 0; i < std::min(got.size(), want.size()); ++i) {
        EXPECT_EQ(got[i].outcomes, want[i].one) << got[i].act;
        out.push_back(got[i].outcomes);
    }
    return out;
}

TEST(Stores, AfterTheSwitchTheNewStoreIsTheOneItStartsFrom) {
    auto f = two_stores();
    auto spare = act("spare", family::ActKind::write, "main"), active = spare;
    spare.region = active.region = "system";
    spare.store = "spare";
    active.id = "other";
    active.store = "active";  // as the run found it
    auto turn = act("switch", family::ActKind::set, "main");
    turn.flag = "active";
    turn.value = "other";
    const auto end = act("end", family::ActKind::end, "main");

    // As it should be: the new store whole, then the switch, then the other store. The spare may have been torn before.
    f.script = {spare, turn, active, end};
    EXPECT_EQ(outcomes(f).at(0), (Outcomes{nothing_changed, rests_unfinished}));
    EXPECT_EQ(outcomes(f).at(2), Outcomes{rests_unfinished});

    f.script = {turn, spare, end};  // switched over before it is written: it starts from what is being written
    EXPECT_EQ(outcomes(f).at(1), Outcomes{lost});
    f.script = {active, turn, end};  // written where it starts from, and the other store never
    EXPECT_EQ(outcomes(f).at(0), Outcomes{lost});
}

}  // namespace
}  // namespace fettle::cutmap
