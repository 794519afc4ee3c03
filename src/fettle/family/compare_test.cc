// The trust rule: a file may tighten by itself, never loosen.
#include "fettle/family/compare.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <functional>

#include "fettle/base/source_path.h"

namespace fettle::family {
namespace {

const Family& dunnock() {
    static const Family f = load_family(source_path("families/dunnock.toml")).value();
    return f;
}

std::vector<Change> after(const std::function<void(Family&)>& edit) {
    Family offered = dunnock();
    edit(offered);
    return compare_families(dunnock(), offered);
}

std::string keys(const std::vector<Change>& changes) {
    std::string out;
    for (const Change& c : changes) out += (c.loosens ? "loosens " : "") + c.key + "; ";
    return out;
}

struct Edit {
    const char* name;
    std::function<void(Family&)> edit;
    const char* key;
};
void PrintTo(const Edit& e, std::ostream* out) {
    *out << e.name;
}

KnownRelease& stone(Family& f) {
    return *std::find_if(f.known.begin(), f.known.end(), [](const KnownRelease& r) { return r.stepping_stone; });
}

class Loosening : public ::testing::TestWithParam<Edit> {};
TEST_P(Loosening, NeedsANamedAcceptance) {
    const auto changes = after(GetParam().edit);
    EXPECT_TRUE(std::any_of(changes.begin(), changes.end(), [](const Change& c) {
        return c.loosens && c.key == GetParam().key;
    })) << keys(changes);
    EXPECT_TRUE(changes.empty() || changes.front().loosens);  // named first
}

INSTANTIATE_TEST_SUITE_P(
    Each, Loosening,
    ::testing::Values(
        Edit{"door", [](Family& f) { stone(f).one_way_door = false; }, "release.26.4.102.one_way_door"},
        Edit{"stone", [](Family& f) { stone(f).stepping_stone = false; }, "release.26.4.102.stepping_stone"},
        Edit{"whole stone", [](Family& f) { std::erase_if(f.known, [](auto& r) { return r.stepping_stone; }); },
             "release.26.4.102.stepping_stone"},
        Edit{"counter", [](Family& f) { stone(f).counter = 0; }, "release.26.4.102.counter"},
        Edit{"counter up", [](Family& f) { f.known[0].counter = 1; }, "release.26.1.090.counter"},
        Edit{"hold", [](Family& f) { f.holds.erase(f.holds.begin()); }, "hold.doors.in_vehicle"},
        Edit{"hold on bench", [](Family& f) { f.holds[2].on_bench = false; }, "hold.stick.on_bench"},
        Edit{"pair", [](Family& f) { f.pairs.clear(); }, "pair.at rest.display.line == main.line"},
        Edit{"key", [](Family& f) { f.package->signature_key[0] = '0'; }, "package.signature.key"},
        Edit{"no signature",
             [](Family& f) { f.package->signature_form = f.package->signature_file = f.package->signature_key = ""; },
             "package.signature.form"},
        Edit{"market", [](Family& f) { f.view.values["market"]["XX"] = "new"; }, "view.values.market.XX"},
        Edit{"pattern", [](Family& f) { f.boxes[0].plate.pattern += "?"; }, "box.main.plate.pattern"},
        Edit{"check", [](Family& f) { f.boxes[0].plate.check.reset(); }, "box.main.plate.check"},
        Edit{"counter-example", [](Family& f) { f.boxes[0].plate.counter_examples.pop_back(); },
             "box.main.plate.counter_examples.610418C5"},
        Edit{"medium", [](Family& f) { f.card->media.push_back("block-device"); }, "card.media.block-device"},
        Edit{"larger card", [](Family& f) { f.card->max_bytes *= 2; }, "card.max_bytes"},
        Edit{"no card limit", [](Family& f) { f.card->max_bytes = 0; }, "card.max_bytes"},
        Edit{"file system", [](Family& f) { f.card->file_system = "exfat"; }, "card.file_system"},
        Edit{"buffering", [](Family& f) { f.regions[0].buffered_s = 0; }, "region.main.recovery.buffered_s"},
        Edit{"atomic", [](Family& f) { f.regions[0].atomic = true; }, "region.main.recovery.atomic"},
        Edit{"rate", [](Family& f) { f.regions[0].rate_mib_s = 9; }, "region.main.recovery.rate_mib_s"},
        Edit{"source", [](Family& f) { f.script[8].seconds->source = "measured 40"; }, "act.asks.seconds.source"},
        Edit{"polling", [](Family& f) { f.script[0].polling_safe = true; }, "act.reading.polling_safe"},
        Edit{"forced", [](Family& f) { f.script[2].forced = false, f.script[3].forced = true; }, "act.pending.forced"},
        Edit{"order of acts", [](Family& f) { std::swap(f.script[6], f.script[7]); }, "act.kernel.after"},
        Edit{"boot rule", [](Family& f) { f.boot[1].goes_on = "by itself"; }, "boot.main"},
        Edit{"bench repair", [](Family& f) { f.bench.push_back({"display", "by hand", {}}); },
             "bench_repair.display.needs .by hand"},
        Edit{"lowest voltage", [](Family& f) { f.supply->lowest_V = 9; }, "supply.lowest_V"},
        Edit{"no vehicle timer", [](Family& f) { f.supply->vehicle_off_after_s.reset(); },
             "supply.vehicle_off_after_s"},
        Edit{"reserve", [](Family& f) { f.supply->reserve_s = 0; }, "supply.reserve_s"},
        Edit{"address", [](Family& f) { f.link[0].address = 0x1043; }, "link.main"},
        Edit{"kind of box", [](Family& f) { f.boxes[0].kind = "comfort"; }, "box.main.kind"},
        Edit{"a way to mend", [](Family& f) { f.mend.push_back({"same card", 3, 0, "", "", {}, "guess"}); },
             "mend.same card"},
        Edit{"a history elsewhere", [](Family& f) { f.link.front().did_history = 0x0999; }, "link.main"},
        Edit{"explained fault", [](Family& f) { f.faults.push_back({"U0001-00", "x", "low supply", ""}); },
             "fault.U0001-00.low supply"},
        Edit{"refused piece", [](Family& f) { f.messages[3].refused_piece = false; },
             "message.Part not taken.refused_piece"},
        Edit{"level",
             [](Family& f) {
                 f.level = "L4";
                 Family g = f;
                 f.level = "L5";
                 f.settle_s = 1;
             },
             "family.settle_s"},
        Edit{"trial", [](Family& f) { f.trials.pop_back(); }, "try.Station list after switching on"}));

class Tightening : public ::testing::TestWithParam<Edit> {};
TEST_P(Tightening, MayBeTakenByItself) {
    const auto changes = after(GetParam().edit);
    ASSERT_FALSE(changes.empty());
    for (const Change& c : changes) EXPECT_FALSE(c.loosens) << keys(changes);
    EXPECT_TRUE(std::any_of(changes.begin(), changes.end(), [](const Change& c) { return c.key == GetParam().key; }))
        << keys(changes);
}

INSTANTIATE_TEST_SUITE_P(
    Each, Tightening,
    ::testing::Values(
        Edit{"door", [](Family& f) { f.known[3].one_way_door = true; }, "release.27.3.118.one_way_door"},
        Edit{"stone", [](Family& f) { f.known[2].stepping_stone = true; }, "release.27.1.110.stepping_stone"},
        Edit{"new release", [](Family& f) { f.known.push_back({"28.1.001", 2, false, true, {"x"}}); },
             "release.28.1.001.counter"},
        Edit{"hold", [](Family& f) { f.holds.push_back({"lid", "lid stays shut", true, true, false, {}}); },
             "hold.lid.on_bench"},
        Edit{"pair", [](Family& f) { f.pairs.push_back({"display.step == main.step", "at rest"}); },
             "pair.at rest.display.step == main.step"},
        Edit{"market", [](Family& f) { f.view.values["market"].erase("OV"); }, "view.values.market.OV"},
        Edit{"likely", [](Family& f) { f.view.likely.push_back("market"); }, "view.likely.market"},
        Edit{"medium", [](Family& f) { f.card->media.pop_back(); }, "card.media.sd"},
        Edit{"smaller card", [](Family& f) { f.card->max_bytes /= 2; }, "card.max_bytes"},
        Edit{"foreign files", [](Family& f) { f.card->foreign = "refused"; }, "card.foreign.refused"},
        Edit{"slower", [](Family& f) { f.regions[0].rate_mib_s /= 2; }, "region.main.recovery.rate_mib_s"},
        Edit{"weaker source", [](Family& f) { f.supply->source = "guess"; }, "supply.source"},
        Edit{"lower level", [](Family& f) { f.level = "L3"; }, "family.level"},
        Edit{"words", [](Family& f) { f.boxes[0].words = "big box"; }, "box.main.words"},
        Edit{"newest", [](Family& f) { f.newest_as_of = "2026-11-01"; }, "family.newest_known"},
        Edit{"cures", [](Family& f) { f.known[0].cures.push_back("x"); }, "release.26.1.090.cures"},
        Edit{"fault no longer explained", [](Family& f) { f.faults.pop_back(); },
             "fault.U1402-00.partner not on the bench"}));

TEST(CompareFamilies, TheSameFileHasNoChanges) {
    EXPECT_TRUE(compare_families(dunnock(), dunnock()).empty());
}

TEST(CompareFamilies, ThePlaceOfAnEntryDoesNotMatter) {
    EXPECT_TRUE(after([](Family& f) { std::reverse(f.holds.begin(), f.holds.end()); }).empty());
    EXPECT_TRUE(after([](Family& f) { std::reverse(f.known.begin(), f.known.end()); }).empty());
}

TEST(CompareFamilies, SaysBeforeAndAfter) {
    const auto changes = after([](Family& f) { f.supply->lowest_V = 9; });
    ASSERT_EQ(changes.size(), 1u);
    EXPECT_EQ(changes[0].before, "11.5");
    EXPECT_EQ(changes[0].after, "9");
}

}  // namespace
}  // namespace fettle::family
