// A set of two boxes on two transports: one by DoIP, one by ISO-TP on a CAN bus of this machine.
#include "fettle/standin/can_server.h"

#include <gtest/gtest.h>

#include "bench_test_help.h"
#include "fettle/link/client.h"

namespace fettle::standin {
namespace {

using namespace testing;
using link::Connection;
using link::Said;

TEST(CanServer, BoxesOfOneSetOnTwoTransports) {
    auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0).value();
    for (const std::string form : {"0x7a1:0x7a9", "0x42", "0x7a1:0x7a9,fd", "0x7a1:0x7a9,29bit,pad=none,bs=2"}) {
        SCOPED_TRACE(form);
        auto address = link::parse_box_address("can://127.0.0.1:1/" + form + ",box=0x1042").value();
        address.at.port = 0;
        auto bus = CanServer::start(*server, {{0x1042, address}}).value();
        address.at.port = bus->port();
        link::Timing t;
        t.p2_ms = t.ack_ms = t.transfer_ms = 500;
        auto over_can = Connection::open_to(address, {}, t);
        auto over_ip = Connection::open({server->host(), server->port()}, {}, t);
        ASSERT_TRUE(over_can && over_ip);
        EXPECT_TRUE(over_can->loopback());
        const auto& link = dunnock()->link;
        for (const auto did : {link[1].did_plate, link[1].did_pieces}) {  // one frame, and many
            const auto a = over_can->read(0x1042, did), b = over_ip->read(0x1042, did);
            ASSERT_EQ(a.said, Said::value) << a.why;
            EXPECT_EQ(a.data, b.data);
            EXPECT_GT(a.data.size(), 5u);
        }
        EXPECT_EQ(over_can->read(0x1042, 0x1234).nrc, 0x31);
        EXPECT_EQ(over_can->read(0x1041, link[0].did_plate).why, "box 0x1041 is not reached by this address");
        EXPECT_EQ(over_can->read_codes(0x1042).reply.said, Said::value);
        const std::uint16_t many[] = {link[1].did_plate, link[1].did_serial, link[1].did_release, link[1].did_market};
        EXPECT_EQ(over_can->ask(0x1042, link::uds::ReadRequest::identifiers(many)).said,
                  Said::value);  // a long request
    }
}

TEST(CanServer, OnlyThisMachinesBus) {
    auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0).value();
    for (const auto* text : {"can://can0/0x7a1:0x7a9", "can://192.0.2.1:5/0x7a1:0x7a9"})
        EXPECT_EQ(CanServer::start(*server, {{0x1042, link::parse_box_address(text).value()}}).error().code,
                  "not-loopback");
}

}  // namespace
}  // namespace fettle::standin
