#include "fettle/link/inventory.h"

#include <gtest/gtest.h>

#include "rude_box_test_help.h"

namespace fettle::link {
namespace {

using testing::ack;
using testing::frame;
using testing::RudeBox;
using testing::says;
using testing::operator+;

TEST(LinesRecord, NamesAndVersions) {
    EXPECT_EQ(parse_lines_record(as_bytes("a 1\nb-2 3.4\n")).value(),
              (std::vector<ReadPiece>{{"a", "1"}, {"b-2", "3.4"}}));
    EXPECT_EQ(parse_lines_record(as_bytes("a 1")).value().size(), 1u);  // last line feed missing
    EXPECT_TRUE(parse_lines_record({}).value().empty());
    EXPECT_EQ(parse_lines_record(as_bytes(std::string("a 1\n\0\0", 6))).value().size(), 1u);  // padded
}

// A box's own record of updates: releases by their first word, oldest first whichever way the box has them.
TEST(HistoryRecord, ReleasesInOrder) {
    using List = std::vector<std::string>;
    EXPECT_EQ(parse_history_record(as_bytes("26.4.102 complete\n27.1.110\n"), false).value(),
              (List{"26.4.102", "27.1.110"}));
    EXPECT_EQ(parse_history_record(as_bytes("27.1.110\n26.4.102 stopped"), true).value(),
              (List{"26.4.102", "27.1.110"}));
    EXPECT_TRUE(parse_history_record(as_bytes(std::string("\0\0", 2)), false).value().empty());
    EXPECT_EQ(parse_history_record(as_bytes("1\n\n2\n"), false).error().place, "line 2 of the history record");
    EXPECT_EQ(parse_history_record(as_bytes("\xC3\xA4"), false).error().code, "record-not-understood");
    EXPECT_FALSE(parse_history_record(as_bytes(" 1\n"), false));
}

TEST(LinesRecord, WhatIsWrongIsNamedByLine) {
    const auto bad = [](std::string_view text) {
        const auto r = parse_lines_record(as_bytes(text));
        return r ? std::string("read") : r.error().place.words() + ": " + r.error().problem;
    };
    EXPECT_EQ(bad("a 1\nb\n"), "line 2 of the piece record: 'b' is not a name, one blank and a version");
    EXPECT_EQ(bad("a  1\n"), "line 1 of the piece record: 'a  1' is not a name, one blank and a version");
    EXPECT_EQ(bad("a 1\n\nb 2\n"), "line 2 of the piece record: '' is not a name, one blank and a version");
    EXPECT_EQ(bad("a 1\na 2\n"), "line 2 of the piece record: piece 'a' stands there twice");
    EXPECT_EQ(bad("a \xC3\xA4\n").substr(0, 6), "line 1");
}

family::Family one_box() {
    family::Family f;
    f.link.push_back({"main", 0x1041, 0xF187, 0xF18C, 0xF195, 0, 0x0200, "lines", 0, ""});
    return f;
}

// One box that gives its plate, refuses its serial number, keeps silent about its release and sends a broken list.
TEST(Inventory, EachItemSaysForItselfWhatBecameOfIt) {
    RudeBox box([](const RudeBox::Line& l) {
        l.activate();
        for (Bytes q = l.receive(); !q.empty(); q = l.receive()) {
            const std::string asked = hex(ByteView(q).subspan(12));
            if (asked == "22f187") l.send(ack() + says({0x62, 0xF1, 0x87, '6', '1', ' ', 0}));
            if (asked == "22f18c") l.send(ack() + says({0x7F, 0x22, 0x31}));
            if (asked == "3e00") l.send(ack() + says({0x7E, 0x00}));
            if (asked == "220200") l.send(ack() + says({0x62, 0x02, 0x00, 'x', '\n'}));
        }
    });
    Timing t;
    t.ack_ms = 80;
    auto c = Connection::open(box.at(), {}, t);
    ASSERT_TRUE(c);
    const auto all = read_inventory(*c, one_box());
    c = outside_error("", "", "", "");
    ASSERT_EQ(all.boxes.size(), 1u);
    const auto& b = all.boxes[0];
    EXPECT_EQ(b.plate.known, Known::read);
    EXPECT_EQ(b.plate.value, "61");
    EXPECT_EQ(b.serial.known, Known::refused);
    EXPECT_EQ(b.release.known, Known::no_answer);
    EXPECT_EQ(b.release.value, "");
    EXPECT_EQ(b.market.known, Known::not_in_file);
    EXPECT_EQ(b.pieces_fact.known, Known::unreadable);
    EXPECT_TRUE(b.pieces.empty());
    EXPECT_FALSE(b.silent());
    EXPECT_EQ(all.box("main"), &b);
    EXPECT_EQ(all.box("display"), nullptr);
}

TEST(Faults, ASilentBoxHasNotReadNotNone) {
    RudeBox box([](const RudeBox::Line& l) {
        l.activate();
        l.receive();
        l.take(1);
    });
    Timing t;
    t.ack_ms = 80;
    auto c = Connection::open(box.at(), {}, t);
    ASSERT_TRUE(c);
    const auto faults = read_faults(*c, one_box());
    ASSERT_EQ(faults.size(), 1u);
    EXPECT_EQ(faults[0].known, Known::no_answer);
    EXPECT_FALSE(faults[0].why.empty());
    c = outside_error("", "", "", "");
}

// Layouts of 59 04 and 59 06 behind the code and its status, ISO 14229-1: record number, number of identifiers,
// identifier and data; record number and data.
TEST(Inventory, WhatStandsBesideAnEntryIsSaidOnlyAsFarAsItIsCertain) {
    family::LinkBox record;
    record.did_release = 0xF195;
    const auto snapshot = [&](const Bytes& b) { return snapshot_words(b, record); };
    EXPECT_EQ(snapshot({}), "");
    EXPECT_EQ(snapshot({0x01, 0x01, 0xF1, 0x95, '2', '7', '.', '1'}), "record 01, 0xF195 (release) 27.1");
    EXPECT_NE(snapshot({0x01, 0x01, 0xF1, 0x95, '2', 0x02, 0x01}).find("the maker's papers"), std::string::npos);
    EXPECT_NE(snapshot({0x01, 0x02, 0xF1, 0x95, '2', '7'}).find("2 identifiers"), std::string::npos);
    EXPECT_NE(snapshot({0x01, 0x01, 0xF1, 0x96, '2', '7'}).find("1 identifier, the first 0xF196"), std::string::npos);
    EXPECT_EQ(snapshot({0x01, 0x01}), "record 01, then too few bytes for an identifier");
    EXPECT_EQ(extended_words(Bytes{0x01, 0x03}), "record 01, then 1 byte by the maker's layout");
    EXPECT_EQ(extended_words(Bytes{}), "");
}

}  // namespace
}  // namespace fettle::link
