// Boxes like the brill: one store, the recovery region written last, a touch at the very end, a card read strictly.
#include <gtest/gtest.h>

#include <fstream>

#include "bench_test_help.h"

namespace fettle::standin {
namespace {

using namespace testing;

Bench& brill() {
    return bench("brill");
}

VirtualSet cut_in(const std::string& act, double seconds) {
    auto s = brill().started("26.4.088", "27.2.031");
    EXPECT_TRUE(run_to(s, act));
    s.advance(seconds);
    EXPECT_EQ(s.position().act, act);
    s.cut_power();
    return s;
}

TEST(OneStore, WantsATouchAndNothingElseAtItsEnd) {
    auto s = brill().started("26.4.088", "27.2.031", 1, [](StartState& st) { st.answers_asks = false; });
    ASSERT_TRUE(run_to(s, "asks"));
    EXPECT_EQ(s.tally().to_come, 0);  // nothing is left but the touch
    s.advance(600);
    EXPECT_TRUE(s.asks());
    EXPECT_FALSE(s.answer("key"));
    EXPECT_FALSE(s.answer("knob"));
    EXPECT_TRUE(s.answer("touch"));
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.screen(), "Update closed");
    EXPECT_EQ(s.release("main"), "27.2.031");
    EXPECT_EQ(s.counter("main"), 4);
}

TEST(OneStore, WithoutTheTouchItStaysOpen) {
    auto s = brill().started("26.4.088", "27.2.031", 1, [](StartState& st) { st.answers_asks = false; });
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::stopped);
    EXPECT_EQ(s.release("main"), "27.2.031");  // it runs, all the same
    EXPECT_TRUE(s.faults("main").empty());     // and has nothing to say of it
    // The same card again: nothing is left to write, and the touch is asked for again.
    ASSERT_TRUE(s.start_update());
    ASSERT_TRUE(run_to(s, "asks"));
    EXPECT_EQ(s.tally().landed, 0);
    EXPECT_TRUE(s.answer("touch"));
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
}

TEST(OneStore, StartCodeIsTheZoneWithoutAWayBack) {
    auto s = cut_in("start-code", 20);
    EXPECT_EQ(s.fate(), Fate::bench_repair);
    s.restore_power();
    s.advance(600);
    EXPECT_EQ(s.boxes_now()[0].mode, Mode::bench_repair);
    EXPECT_NE(s.boxes_now()[0].way_in.find("test pads"), std::string::npos);
}

TEST(OneStore, BeforeTheStartCodeTheOldRecoveryTakesItUp) {
    EXPECT_EQ(cut_in("system", 100).fate(), Fate::same_card);
    EXPECT_EQ(cut_in("loading", 5).fate(), Fate::nothing_changed);
}

// Power goes 8 s into the recovery region: it starts, nothing would catch a further mishap, and the same card writes
// that region and no other.
TEST(OneStore, CutInTheRecoveryRegionStartsWithoutNetAndTheSameCardMendsIt) {
    auto s = cut_in("recovery", 8);
    EXPECT_EQ(s.fate(), Fate::starts_no_net);
    s.restore_power();
    s.advance(600);
    EXPECT_EQ(s.boxes_now()[0].mode, Mode::normal);
    EXPECT_EQ(s.boxes_now()[0].doing, Doing::rests);
    EXPECT_EQ(s.release("main"), "27.2.031");
    ASSERT_TRUE(s.start_update());
    const auto events = run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.tally().landed, 2);  // the two pieces of the recovery region
    std::string took_time;           // acts that write and had something to write
    const Event* began = nullptr;
    for (const Event& e : events) {
        if (e.kind != EventKind::state) continue;
        if (began && e.at_s > began->at_s && brill().family->act(began->act)->kind == family::ActKind::write)
            took_time += began->act + " ";
        began = &e;
    }
    EXPECT_EQ(took_time, "recovery ");
}

TEST(OneStore, AnythingElseOnTheCardIsRefused) {
    for (const char* what : {"holiday.jpg", "System Volume Information/IndexerVolumeGuid"}) {
        const auto card = brill().card_of(brill().spec("27.2.031"), [&](const std::filesystem::path& folder) {
            std::filesystem::create_directories((folder / what).parent_path());
            std::ofstream(folder / what) << "not the maker's";
        });
        auto s = brill().set_at("26.4.088");
        s.insert_card(*card);
        ASSERT_TRUE(s.start_update());
        run_out(s);
        EXPECT_EQ(s.ending(), Ending::refused_card) << what;
        EXPECT_EQ(s.screen(), "Card holds other files");
    }
}

TEST(OneStore, ItsOwnTextForACardWithoutIndex) {
    card::MemoryDevice blank{Bytes(1 << 20)};
    auto s = brill().set_at("26.4.088");
    s.insert_card(blank);
    ASSERT_TRUE(s.start_update());
    run_out(s);
    EXPECT_EQ(s.screen(), "No update on card");
}

}  // namespace
}  // namespace fettle::standin
