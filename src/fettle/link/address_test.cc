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
    EXPECT_EQ(parse_box_address("doip://localhost/0X1A").value(), (BoxAddress{{"localhost", 13400}, 0x1A}));
    EXPECT_EQ(parse_box_address("doip://[::1]:4000/0x1042").value(), (BoxAddress{{"::1", 4000}, 0x1042}));
    EXPECT_EQ(text_of(BoxAddress{{"::1", 4000}, 0x1042}), "doip://[::1]:4000/0x1042");
    EXPECT_EQ(parse_endpoint("127.0.0.1").value(), (Endpoint{"127.0.0.1", 13400}));
    EXPECT_EQ(parse_endpoint("127.0.0.1:1").value().port, 1);
    EXPECT_EQ(parse_endpoint("127.0.0.1:65535").value().port, 65535);
    EXPECT_EQ(parse_link_address("doip://127.0.0.1:5").value().logical, 0);
}

struct Bad {
    const char *text, *problem;
};
TEST(Address, EachMistakeIsNamed) {
    const Bad cases[] = {
        {"127.0.0.1:13400/0x1041", "it does not begin with doip://"},
        {"can://can0/0x7a1:0x7a9", "can:// is not built into this version, only doip://"},
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
