// The client of the link room against the stand-in, over real sockets on the loopback interface.
#include "fettle/standin/server.h"

#include <gtest/gtest.h>

#include <chrono>

#include "bench_test_help.h"
#include "fettle/link/clear.h"
#include "fettle/link/inventory.h"

namespace fettle::standin {
namespace {

using namespace testing;
using link::Connection;
using link::Known;
using link::Said;

link::Timing quick() {
    link::Timing t;
    t.connect_ms = t.control_ms = t.ack_ms = 150;
    t.p2_ms = 150;
    return t;
}

std::unique_ptr<Server> serve(VirtualSet s) {
    return Server::start(std::move(s), "127.0.0.1", 0).value();
}
link::Endpoint at(const Server& s) {
    return {s.host(), s.port()};
}

TEST(Server, IsFoundByIdentification) {
    const auto server = serve(set_at("27.1.110"));
    const auto found = link::find(at(*server), quick());
    ASSERT_TRUE(found);
    ASSERT_EQ(found->size(), 1u);
    EXPECT_EQ(found->front().says.vin, "ZZ9FETTL70BENCH01");
    EXPECT_EQ(found->front().says.address, 0x1041);
    EXPECT_EQ(found->front().at, at(*server));
}

TEST(Server, InventoryOfTheWholeSetIsWhatTheSetHolds) {
    const auto server = serve(set_at("27.1.110"));
    auto c = Connection::open(at(*server), {}, quick());
    ASSERT_TRUE(c) << c.error().message();
    EXPECT_EQ(c->entity(), 0x1041);
    const auto all = link::read_inventory(*c, *dunnock());
    ASSERT_EQ(all.boxes.size(), 2u);
    for (const auto& b : all.boxes) {
        EXPECT_EQ(b.plate.value, plates.at(b.role));
        EXPECT_EQ(b.release.value, "27.1.110");
        EXPECT_EQ(b.market.value, "NS");
        EXPECT_EQ(b.serial.known, Known::read);
        const auto held = server->snapshot().installed(b.role);
        ASSERT_EQ(b.pieces.size(), held.size());
        for (std::size_t i = 0; i < held.size(); ++i) {
            EXPECT_EQ(b.pieces[i].name, held[i].name);
            EXPECT_EQ(b.pieces[i].version, held[i].version);
        }
    }
}

TEST(Server, FaultsBeforeAndAfterASkippedAsk) {
    const auto server = serve(set_at("27.1.110", 1, [](StartState& s) { s.answers_asks = false; }));
    auto c = Connection::open(at(*server), {}, quick());
    ASSERT_TRUE(c);
    auto before = link::read_faults(*c, *dunnock());
    ASSERT_EQ(before.size(), 2u);
    EXPECT_EQ(before[1].known, Known::read);
    EXPECT_TRUE(before[1].faults.empty());
    server->with([](VirtualSet& s) {
        s.insert_card(card_for("27.3.118"));
        (void)s.start_update();
        run_out(s);
    });
    const auto after = link::read_faults(*c, *dunnock());
    ASSERT_EQ(after[1].faults.size(), 1u);
    EXPECT_EQ(after[1].faults[0].code, "B1A4F-13");
    EXPECT_EQ(after[1].faults[0].status, 0x28);
}

// A set that is wired apart: each box on a transport of its own, at the same time, and no other box there.
TEST(Server, TwoBoxesOnTwoTransports) {
    auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0, {{"display"}, {"main"}}).value();
    auto main = Connection::open({"127.0.0.1", server->port_of("main")}, {}, quick());
    auto display = Connection::open({"127.0.0.1", server->port_of("display")}, {}, quick());
    ASSERT_TRUE(main && display);
    EXPECT_EQ(display->entity(), 0x1042);
    const auto& link = dunnock()->link;
    EXPECT_EQ(link::read_box(*main, link.at(0)).plate.value, plates.at("main"));
    EXPECT_EQ(link::read_box(*display, link.at(1)).plate.value, plates.at("display"));
    EXPECT_EQ(link::read_box(*display, link.at(1)).history, (std::vector<std::string>{"27.1.110"}));
    EXPECT_TRUE(link::read_box(*display, link.at(0)).silent());
    EXPECT_EQ(Server::start(set_at("27.1.110"), "127.0.0.1", 0, {{"boot"}}).error().code, "no-such-box");
}

// A second tester with the same address: the first is asked whether it is alive. Ours says so while it works (both
// stand on one loop here), and then the second is denied; one that says nothing is gone, and the second is let in.
TEST(Server, AsksATesterWhetherItIsAliveAndOursAnswers) {
    auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0, {}, {.alive_ms = 60}).value();
    link::Options together;
    together.loop = link::make_loop();
    auto first = Connection::open(at(*server), together, quick());
    ASSERT_TRUE(first);
    const auto second = Connection::open(at(*server), together, quick());
    ASSERT_FALSE(second);
    EXPECT_EQ(second.error().code, "link-refused");
    EXPECT_EQ(first->read(0x1041, 0xF187).said, Said::value);
    const auto third = Connection::open(at(*server), {}, quick());  // meanwhile nobody lets the first one speak
    ASSERT_TRUE(third) << third.error().message();
    EXPECT_EQ(first->read(0x1041, 0xF187).said, Said::no_answer);
}

// Places are few: a fifth tester is let in once one of the four does not say that it is alive.
TEST(Server, MakesRoomByAskingWhoIsAlive) {
    auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0, {}, {.alive_ms = 60}).value();
    std::vector<Connection> held;
    link::Options o;
    o.loop = link::make_loop();
    for (std::uint16_t tester = 0x0E80; tester < 0x0E84; ++tester) {
        o.tester = tester;
        held.push_back(Connection::open(at(*server), o, quick()).value());
    }
    o.tester = 0x0E90;
    EXPECT_EQ(Connection::open(at(*server), o, quick()).error().code, "link-refused");
    o.loop = link::make_loop();
    EXPECT_TRUE(Connection::open(at(*server), o, quick()));
}

// It tells of itself when it has come up, and again after its power went.
TEST(Server, AnnouncesItselfWhenItComesUp) {
    const std::uint16_t port = serve(set_at("27.1.110"))->port();  // free again at the end of this line
    auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0, {},
                                {.announce_host = "127.0.0.1", .announce_port = port, .announce_ms = 40})
                      .value();
    const auto heard = link::hear_announcements({"127.0.0.1", port}, 200);
    ASSERT_TRUE(heard);
    ASSERT_EQ(heard->size(), 1u);
    EXPECT_EQ(heard->front().says.vin, "ZZ9FETTL70BENCH01");
    EXPECT_EQ(link::hear_announcements({"127.0.0.1", port}, 100)->size(), 0u);
    server->with([](VirtualSet& s) { s.cut_power(); });
    EXPECT_EQ(link::hear_announcements({"127.0.0.1", port}, 60)->size(), 0u);
    server->with([](VirtualSet& s) {
        s.restore_power();
        (void)s.advance(600);
    });
    EXPECT_EQ(link::hear_announcements({"127.0.0.1", port}, 150)->size(), 1u);
    EXPECT_EQ(Server::start(set_at("27.1.110"), "127.0.0.1", 0, {}, {.announce_host = "10.0.0.1"}).error().code,
              "not-loopback");
}

link::ClearOrder order_for(std::vector<link::StoredFault> memory, std::vector<std::string> codes) {
    link::ClearOrder o;
    o.box = dunnock()->link.at(0);
    o.kind = "infotainment";
    o.plate = plates.at("main");
    o.memory = std::move(memory);
    o.codes = std::move(codes);
    return o;
}
std::unique_ptr<Server> with_memory(std::vector<FaultEntry> stored, Clears clears = Clears::each) {
    return serve(set_at("27.1.110", 1, [&](StartState& s) {
        s.stored["main"] = std::move(stored);
        s.clears = clears;
    }));
}

TEST(Clearing, OnlyWhatWasOrderedGoes) {
    const auto server = with_memory({{"B1A07-16", 0x28}, {"P0135-00", 0x08}});
    auto c = Connection::open(at(*server), {}, quick());
    ASSERT_TRUE(c);
    auto clearing =
        link::Clearing::prepare(*c, order_for({{"main", "P0135-00", 0x08}, {"main", "B1A07-16", 0x28}}, {"B1A07-16"}));
    ASSERT_TRUE(clearing) << clearing.error().message();
    const auto r = clearing->send();
    EXPECT_EQ(r.done, (std::vector<std::string>{"B1A07-16"}));
    EXPECT_TRUE(r.certain);
    EXPECT_FALSE(r.all);
    EXPECT_EQ(server->snapshot().faults("main"), (std::vector<FaultEntry>{{"B1A07-16", 0x50}, {"P0135-00", 0x08}}));
}

// Whatever is not as it was saved: nothing is sent.
TEST(Clearing, NothingIsSentWhenAnythingIsAnother) {
    const std::vector<link::StoredFault> saved = {{"main", "B1A07-16", 0x28}, {"main", "P0135-00", 0x2F}};
    const auto server = with_memory({{"B1A07-16", 0x28}, {"P0135-00", 0x2F}});
    const auto refusal = [&](const std::function<void(link::ClearOrder&)>& change) {
        auto c = Connection::open(at(*server), {}, quick());
        auto o = order_for(saved, {"B1A07-16"});
        change(o);
        const auto prepared = link::Clearing::prepare(*c, std::move(o));
        return prepared ? std::string("prepared") : prepared.error().code;
    };
    EXPECT_EQ(refusal([](auto&) {}), "prepared");
    EXPECT_EQ(refusal([](auto& o) { o.plate = "6100000C0"; }), "other-box");
    EXPECT_EQ(refusal([](auto& o) { o.serial = "S0000000"; }), "other-box");
    EXPECT_EQ(refusal([](auto& o) { o.memory.pop_back(); }), "memory-moved");
    EXPECT_EQ(refusal([](auto& o) { o.memory[1].status = 0x28; }), "memory-moved");
    EXPECT_EQ(refusal([](auto& o) { o.memory.push_back({"main", "U0100-00", 0x08}); }), "memory-moved");
    EXPECT_EQ(refusal([](auto& o) { o.codes = {"P0135-00"}; }), "clear-active");
    EXPECT_EQ(refusal([](auto& o) { o.others_may_go = true; }), "clear-active");  // "all" would take the failing one
    EXPECT_EQ(refusal([](auto& o) { o.box.did_plate = 0; }), "identity-not-read");
    for (const char* kind : {"restraint", "brake", "steering", ""})
        EXPECT_EQ(refusal([&](auto& o) { o.kind = kind; }), "clear-kind") << kind;
    EXPECT_EQ(server->snapshot().faults("main"), (std::vector<FaultEntry>{{"B1A07-16", 0x28}, {"P0135-00", 0x2F}}));
}

// A box that takes only "all": others go along only when they may.
TEST(Clearing, AllOnlyWhenTheOthersMayGo) {
    const std::vector<link::StoredFault> saved = {{"main", "B1A07-16", 0x28}, {"main", "P0135-00", 0x08}};
    const auto server = with_memory({{"B1A07-16", 0x28}, {"P0135-00", 0x08}}, Clears::only_all);
    auto c = Connection::open(at(*server), {}, quick());
    auto kept = link::Clearing::prepare(*c, order_for(saved, {"B1A07-16"}));
    ASSERT_TRUE(kept);
    const auto nothing = kept->send();
    EXPECT_TRUE(nothing.done.empty());
    EXPECT_FALSE(nothing.all);
    EXPECT_NE(nothing.why.find("nobody signed"), std::string::npos) << nothing.why;
    EXPECT_EQ(server->snapshot().faults("main")[1].status, 0x08);
    auto order = order_for(saved, {"B1A07-16"});
    order.others_may_go = true;
    auto all = link::Clearing::prepare(*c, std::move(order));
    ASSERT_TRUE(all);
    const auto r = all->send();
    EXPECT_TRUE(r.all);
    EXPECT_EQ(r.done.size(), 2u);
}

TEST(Server, WhileDarkNothingIsAnsweredAndAfterwardsItIs) {
    const auto server = serve(set_at("27.1.110"));
    auto c = Connection::open(at(*server), {}, quick());
    ASSERT_TRUE(c);
    server->with([](VirtualSet& s) {
        s.insert_card(card_for("27.3.118"));
        (void)s.start_update();
        run_to(s, "dark-1");
    });
    const auto silent = c->read(0x1041, 0xF195);
    EXPECT_EQ(silent.said, Said::no_answer);
    EXPECT_TRUE(link::find(at(*server), quick())->empty());
    EXPECT_EQ(Connection::open(at(*server), {}, quick()).error().code, "link-not-reachable");
    server->with([](VirtualSet& s) { run_out(s); });
    EXPECT_EQ(as_text(c->read(0x1041, 0xF195).data), "27.3.118");
}

TEST(Server, WhatIsNotOfferedIsRefusedAndAnUnknownBoxIsNotReached) {
    const auto server = serve(set_at("27.1.110"));
    auto c = Connection::open(at(*server), {}, quick());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->read(0x1041, 0x1234).nrc, 0x31);
    const auto nobody = c->read(0x2222, 0xF195);
    EXPECT_EQ(nobody.said, Said::no_answer);
    EXPECT_EQ(nobody.why, "not delivered: it does not know the box's address (code 0x03)");
    EXPECT_EQ(c->ask(0x1041, link::uds::ReadRequest::from_bytes(Bytes{0x10, 0x03}).value()).said, Said::value);
    EXPECT_EQ(c->ask(0x1041, link::uds::ReadRequest::tester_present(true)).said, Said::value);
}

TEST(Server, TesterAddressesAndVersionsByTheStandard) {
    const auto server = serve(set_at("27.1.110"));
    link::Options wrong;
    wrong.tester = 0x1000;
    const auto denied = Connection::open(at(*server), wrong, quick());
    ASSERT_FALSE(denied);
    EXPECT_EQ(denied.error().code, "link-refused");
    link::Options newer;
    newer.version = 3;
    const auto first = Connection::open(at(*server), newer, quick());
    EXPECT_TRUE(first);
}

TEST(Server, ABusyPortIsNamed) {
    const auto first = serve(set_at("27.1.110"));
    const auto second = Server::start(set_at("27.1.110"), "127.0.0.1", first->port());
    ASSERT_FALSE(second);
    EXPECT_EQ(second.error().code, "port-busy");
    EXPECT_EQ(second.error().place, "127.0.0.1:" + std::to_string(first->port()));
}

TEST(Server, OnlyLoopback) {
    EXPECT_EQ(Server::start(set_at("27.1.110"), "0.0.0.0", 0).error().code, "not-loopback");
    EXPECT_EQ(Server::start(set_at("27.1.110"), "192.0.2.1", 0).error().code, "not-loopback");
}

TEST(Server, StopsCleanlyWithConnectionsOpen) {
    std::optional<Result<Connection>> c;
    {
        const auto server = serve(set_at("27.1.110"));
        c = Connection::open(at(*server), {}, quick());
        ASSERT_TRUE(*c);
    }
    EXPECT_EQ((*c)->read(0x1041, 0xF195).said, Said::no_answer);
}

}  // namespace
}  // namespace fettle::standin
