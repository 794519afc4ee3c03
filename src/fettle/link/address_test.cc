#include "fettle/link/address.h"

#include <gtest/gtest.h>

namespace fettle::link {
namespace {

TEST(Address, BoxBehindAnEntity) {
    const auto a = parse_box_address("doip://127.0.0.1:13400/0x1041");
    ASSERT_TRUE(a);
    EXPECT_EQ(a->at, (Endpoint{"127.0.0.1", 13400}));
    EXPECT_EQ(a->logical, 0x1041);
    EXPECT_EQ(text_of(*a), "doip://127.0.0.1:13400/0x1041");
}

TEST(Address, PortMayBeLeftOutAndIpv6StandsInBrackets) {
    EXPECT_EQ(parse_box_address("doip://localhost/0X1A").value(), (BoxAddress{{"localhost", 13400}, 0x1A, {}}));
    EXPECT_EQ(parse_box_address("doip://[::1]:4000/0x1042").value(), (BoxAddress{{"::1", 4000}, 0x1042, {}}));
    EXPECT_EQ(text_of(BoxAddress{{"::1", 4000}, 0x1042, {}}), "doip://[::1]:4000/0x1042");
    EXPECT_EQ(parse_endpoint("127.0.0.1").value(), (Endpoint{"127.0.0.1", 13400}));
    EXPECT_EQ(parse_endpoint("127.0.0.1:1").value().port, 1);
    EXPECT_EQ(parse_endpoint("127.0.0.1:65535").value().port, 65535);
    EXPECT_EQ(parse_link_address("doip://127.0.0.1:5").value().logical, 0);
}

// Identifiers of 29-bit fixed addressing: ISO 15765-2; 7E0 and 18DAxxF1: ISO 15765-4 (both from memory).
TEST(Address, BoxOnACanBus) {
    const auto a = parse_box_address("can://can0/0x7a1:0x7A9").value();
    EXPECT_EQ(a.can->interface, "can0");
    EXPECT_EQ(a.can->request, (CanId{0x7A1, false}));
    EXPECT_EQ(a.can->answer, (CanId{0x7A9, false}));
    EXPECT_EQ(a.logical, 0x7A1);
    EXPECT_EQ(a.can->pad, 0xCC);
    EXPECT_FALSE(a.can->fd);
    const auto fixed = parse_box_address("can://can0/0x10").value();
    EXPECT_EQ(fixed.can->request, (CanId{0x18DA10F1, true}));
    EXPECT_EQ(fixed.can->answer, (CanId{0x18DAF110, true}));
    EXPECT_EQ(parse_box_address("can://can0/0x10,tester=fa").value().can->request.number, 0x18DA10FAu);
    const auto all =
        parse_box_address("can://127.0.0.1:29500/0x7a1:0x7a9,29bit,fd=16,pad=none,bs=8,stmin=5,box=0x1041").value();
    EXPECT_TRUE(all.can->interface.empty());
    EXPECT_EQ(all.at.port, 29500);
    EXPECT_TRUE(all.can->request.extended);
    EXPECT_EQ(all.can->frame_bytes, 16);
    EXPECT_FALSE(all.can->pad);
    EXPECT_EQ(all.can->block_size, 8);
    EXPECT_EQ(all.can->st_min, 5);
    EXPECT_EQ(all.logical, 0x1041);
    for (const auto* text :
         {"can://can0/0x7a1:0x7a9", "can://can0/0x18da10f1:0x18daf110", "can://can0/0x7a1:0x7a9,kernel",
          "can://127.0.0.1:29500/0x7a1:0x7a9,29bit,fd=16,pad=none,bs=8,stmin=5,box=0x1041"})
        EXPECT_EQ(text_of(parse_box_address(text).value()), text);
}

struct Bad {
    const char *text, *problem;
};
TEST(Address, EachMistakeIsNamed) {
    const Bad cases[] = {
        {"127.0.0.1:13400/0x1041", "it does not begin with doip:// or can://"},
        {"http://127.0.0.1/", "http:// is no way to a box; doip:// and can:// are"},
        {"can://can0", "the box's identifiers are missing"},
        {"can://can 0/0x7a1:0x7a9", "'can 0' is no name of an interface"},
        {"can:///0x7a1:0x7a9", "'' is no name of an interface"},
        {"can://can0/7a1:7a9", "'7a1:7a9' are not two identifiers like 0x7a1:0x7a9"},
        {"can://can0/0x7a1:0x20000000", "'0x7a1:0x20000000' are not two identifiers like 0x7a1:0x7a9"},
        {"can://can0/0x7a1:0x7a1", "request and answer have the same identifier"},
        {"can://can0/0x7df:0x7e8", "that identifier addresses a group of boxes; one box at a time is asked"},
        {"can://can0/0x18db33f1:0x18daf110", "that identifier addresses a group of boxes; one box at a time is asked"},
        {"can://can0/0x7a1",
         "'0x7a1' is not request and answer identifier (0x7a1:0x7a9), nor a box's number of 29-bit "
         "fixed addressing (0x10)"},
        {"can://can0/0xf1", "that is the tester's own number"},
        {"can://can0/0x7a1:0x7a9,fd=9", "'fd=9' is not understood"},
        {"can://can0/0x7a1:0x7a9,pad=zz", "'pad=zz' is not understood"},
        {"can://can0/0x7a1:0x7a9,", "'' is not understood"},
        {"can://can0/0x7a1:0x7a9,stmin=200", "'stmin=200' is not understood"},
        {"can://127.0.0.1:9/0x7a1:0x7a9,kernel", "the kernel has no bus at a host and port"},
        {"doip://127.0.0.1:13400", "the box's address is missing"},
        {"doip://127.0.0.1:13400/", "the box's address is missing"},
        {"doip://127.0.0.1:13400/1041", "box address '1041' is not of the form 0x1041"},
        {"doip://127.0.0.1:13400/0x", "box address '0x' is not of the form 0x1041"},
        {"doip://127.0.0.1:13400/0x10413", "box address '0x10413' is not of the form 0x1041"},
        {"doip://127.0.0.1:13400/0x10g1", "box address '0x10g1' is not of the form 0x1041"},
        {"doip://127.0.0.1:0/0x1041", "port '0' is not a number from 1 to 65535"},
        {"doip://127.0.0.1:65536/0x1041", "port '65536' is not a number from 1 to 65535"},
        {"doip://127.0.0.1:/0x1041", "port '' is not a number from 1 to 65535"},
        {"doip://:13400/0x1041", "the host is missing or holds a character that no host has"},
        {"doip://a b/0x1041", "the host is missing or holds a character that no host has"},
        {"doip://::1/0x1041", "more than one colon; an IPv6 address goes in brackets"},
        {"doip://[::1/0x1041", "the closing ] of the address is missing"},
        {"doip://127.0.0.1/0x0", "box address 0 belongs to no box"},
        {"doip://127.0.0.1/0x0E80", "0x0E80 is a tester's address, not a box's"},
        {"doip://127.0.0.1/0xE400", "0xE400 addresses a group of boxes; one box at a time is asked"},
        {"doip://127.0.0.1/0xFFFF", "0xFFFF is reserved"},
    };
    for (const auto& c : cases) {
        const auto r = parse_box_address(c.text);
        ASSERT_FALSE(r) << c.text;
        EXPECT_EQ(r.error().problem, c.problem) << c.text;
        EXPECT_EQ(r.error().code, "bad-address");
        EXPECT_EQ(r.error().kind, ErrorKind::usage);
        EXPECT_FALSE(r.error().next.empty());
    }
    EXPECT_FALSE(parse_endpoint("doip://127.0.0.1:13400"));
}

}  // namespace
}  // namespace fettle::link
