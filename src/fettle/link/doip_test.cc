// ISO 13400-2 messages. Examples, payload types and codes: tests/data/reference/doip-*.csv, whose column `source` names
// the source and whose column `mark` says how far each row was confirmed.
#include "fettle/link/doip.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "reference_test_help.h"

namespace fettle::link::doip {
namespace {

using testing::bytes_of;
using testing::table;

testing::Row example(const std::string& name) {
    for (const auto& r : table("doip-examples.csv"))
        if (r.at("case") == name) return r;
    throw std::runtime_error(name);
}
Message decoded(const std::string& name) {
    return decode(bytes_of(example(name).at("bytes_hex"))).value();
}

TEST(DoipExamples, EveryRowDecodesAndEncodesToTheSameBytesOrGivesItsNack) {
    int good = 0, bad = 0;
    for (const auto& r : table("doip-examples.csv")) {
        SCOPED_TRACE(r.at("case"));
        const Bytes wire = bytes_of(r.at("bytes_hex"));
        const auto m = decode(wire);
        const std::string& note = r.at("note");
        if (const auto at = note.find("must give header nack "); at != std::string::npos) {
            ASSERT_FALSE(m);
            EXPECT_EQ(m.error().nack, std::stoi(note.substr(at + 22, 2), nullptr, 16));
            ++bad;
            continue;
        }
        ASSERT_TRUE(m) << m.error().words;
        EXPECT_EQ(encode(*m), wire);
        EXPECT_EQ(wire.size() - header_size, std::stoul(r.at("payload_length")));
        ++good;
    }
    EXPECT_EQ(good, 14);
    EXPECT_EQ(bad, 2);
}

TEST(DoipExamples, FieldsStandWhereTheTableSays) {
    const auto routing = std::get<RoutingResponse>(decoded("routing activation response, success").body);
    EXPECT_EQ(routing, (RoutingResponse{0x0E80, 0x1106, 0x10, std::nullopt}));
    const auto tls = std::get<RoutingResponse>(decoded("routing activation response, TLS required").body);
    EXPECT_EQ(tls.code, 0x07);
    EXPECT_EQ(decoded("same, protocol version 03").version, 3);
    const auto d = std::get<Diagnostic>(decoded("diagnostic message 22 F1 90").body);
    EXPECT_EQ(d, (Diagnostic{0x0E80, 0x1000, {0x22, 0xF1, 0x90}}));
    const auto nack = std::get<DiagnosticNack>(decoded("diagnostic nack 03 with 2 bytes").body);
    EXPECT_EQ(nack, (DiagnosticNack{0x000A, 0x000C, 0x00, {0x10, 0x03}}));
    const auto a = std::get<Announcement>(decoded("announcement, 33-byte payload").body);
    EXPECT_EQ(a.vin, "1M8GDM9AXKP042788");
    EXPECT_EQ(a.address, 0x1000);
    EXPECT_EQ(a.eid, (Eid{0x00, 0x11, 0x22, 0x33, 0x44, 0x55}));
    EXPECT_EQ(a.gid, (Eid{0x66, 0x77, 0x88, 0x99, 0xAA, 0xBB}));
    EXPECT_EQ(a.sync_status, 0x00);
}

TEST(DoipTypes, EveryPublishedTypeHasItsLengthsAndNoOther) {
    for (const auto& r : table("doip-payloads.csv")) {
        SCOPED_TRACE(r.at("name"));
        const Bytes type = bytes_of(r.at("type_hex"));
        EXPECT_FALSE(type_name(load_be16(type, 0)).empty());
        const std::string& rule = r.at("payload_length");  // "7 or 11", "5 or more", "17"
        std::vector<std::uint32_t> allowed{static_cast<std::uint32_t>(std::stoul(rule))};
        const bool more = rule.find("or more") != std::string::npos;
        if (!more && rule.find(" or ") != std::string::npos)
            allowed.push_back(static_cast<std::uint32_t>(std::stoul(rule.substr(rule.find(" or ") + 4))));
        for (std::uint32_t n = 0; n <= 40; ++n) {
            Bytes wire{0x02, 0xFD, type[0], type[1], 0, 0, 0, static_cast<Byte>(n)};
            wire.resize(header_size + n, 0x41);
            const auto m = decode(wire);
            const bool wanted = std::count(allowed.begin(), allowed.end(), n) > 0 || (more && n >= allowed[0]);
            EXPECT_EQ(m.has_value(), wanted) << n;
            if (!m) {
                EXPECT_EQ(m.error().nack, 0x04);  // length against type
                EXPECT_TRUE(m.error().close);
            }
        }
    }
}

TEST(DoipCodes, EveryPublishedCodeHasWordsAndOthersAreReserved) {
    for (const auto& r : table("doip-codes.csv")) {
        const auto code = static_cast<std::uint8_t>(bytes_of(r.at("value_hex"))[0]);
        std::string_view words = "x";
        if (r.at("field") == "header nack") words = header_nack_words(code);
        if (r.at("field") == "activation response") words = activation_words(code);
        if (r.at("field") == "diagnostic nack") words = diagnostic_nack_words(code);
        EXPECT_NE(words, "reserved") << r.at("field") << " " << r.at("value_hex");
    }
    EXPECT_EQ(header_nack_words(0x05), "reserved");
    EXPECT_EQ(activation_words(0x08), "reserved");
    EXPECT_EQ(diagnostic_nack_words(0x01), "reserved");
}

TEST(DoipHeader, OrderOfChecksIsPatternTypeSizeLength) {
    const auto nack = [](const char* wire) { return decode(bytes_of(wire)).error().nack; };
    EXPECT_EQ(nack("02FC1234FFFFFFFF"), 0x00);  // all four wrong: pattern first
    EXPECT_EQ(nack("02FD1234FFFFFFFF"), 0x01);  // then type
    EXPECT_EQ(nack("02FD0007FFFFFFFF"), 0x02);  // then size
    EXPECT_EQ(nack("02FD00070000000100"), 0x04);
}

TEST(DoipHeader, VersionsTwoAndThreeAndTheDefaultOnlyForIdentification) {
    EXPECT_TRUE(decode(bytes_of("02FD000100000000")));
    EXPECT_TRUE(decode(bytes_of("03FC000100000000")));
    EXPECT_TRUE(decode(bytes_of("FF00000100000000")));
    EXPECT_FALSE(decode(bytes_of("FF00000700000000")));  // alive check
    EXPECT_FALSE(decode(bytes_of("01FE000100000000")));  // draft
    EXPECT_FALSE(decode(bytes_of("04FB000100000000")));
}

TEST(DoipHeader, LengthFieldMustMatchTheDatagram) {
    EXPECT_EQ(decode(bytes_of("02FD0008000000020E8000")).error().nack, 0x04);
    EXPECT_EQ(decode(bytes_of("02FD000800000002")).error().nack, 0x04);
    EXPECT_FALSE(decode(bytes_of("02FD0008")));
}

TEST(DoipEncode, ACallersBugIsNotPutOnTheWire) {
    EXPECT_THROW(encode(IdentRequestVin{"SHORT"}), std::invalid_argument);
    EXPECT_THROW(encode(Diagnostic{1, 2, {}}), std::invalid_argument);
}

// --- stream ------------------------------------------------------------------------------------------------------

std::vector<Message> all(Splitter& s) {
    std::vector<Message> out;
    while (auto m = s.next()) out.push_back(m->value());
    return out;
}

TEST(DoipSplitter, TwoMessagesInOneSegment) {
    Splitter s;
    Bytes both = encode(AliveRequest{});
    append(both, encode(Diagnostic{0x1041, 0x0E80, {0x7E, 0x00}}));
    s.feed(both);
    const auto got = all(s);
    ASSERT_EQ(got.size(), 2u);
    EXPECT_TRUE(std::holds_alternative<AliveRequest>(got[0].body));
    EXPECT_EQ(std::get<Diagnostic>(got[1].body).data, (Bytes{0x7E, 0x00}));
}

TEST(DoipSplitter, FourGigabytesAreRefusedBeforeAnyByteIsKept) {
    Splitter s;
    s.feed(bytes_of("02FD8001FFFFFFFF"));
    const auto m = s.next();
    ASSERT_TRUE(m && !*m);
    EXPECT_EQ(m->error().nack, 0x02);
    EXPECT_FALSE(m->error().close);
    EXPECT_EQ(m->error().skip, 0x100000007ull);
    const Bytes much(100000, 0x55);
    for (int i = 0; i < 100; ++i) s.feed(much);  // it is passed over, not stored
    EXPECT_EQ(s.kept(), 0u);
    EXPECT_FALSE(s.next());
}

TEST(DoipSplitter, AfterARefusedMessageTheNextIsFound) {
    Splitter s(100);
    Bytes wire = bytes_of("02FD800100000100");
    wire.resize(header_size + 0x100, 0xAB);
    append(wire, encode(AliveRequest{}));
    s.feed(wire);
    EXPECT_EQ(s.next()->error().nack, 0x02);
    const auto got = all(s);
    ASSERT_EQ(got.size(), 1u);
    EXPECT_TRUE(std::holds_alternative<AliveRequest>(got[0].body));
}

TEST(DoipSplitter, ABadPatternEndsTheStream) {
    Splitter s;
    s.feed(bytes_of("02FF000700000000"));
    EXPECT_TRUE(s.next()->error().close);
    s.feed(encode(AliveRequest{}));
    EXPECT_FALSE(s.next());
}

RC_GTEST_PROP(DoipSplitter, HoweverTheStreamIsCutTheSameMessagesComeOut,
              (const std::vector<std::vector<std::uint8_t>>& bodies)) {
    Bytes wire;
    std::vector<Body> sent;
    for (const auto& b : bodies) {
        if (b.empty()) continue;
        sent.push_back(Diagnostic{0x1041, 0x0E80, b});
        append(wire, encode(sent.back()));
    }
    Splitter s;
    std::vector<Body> got;
    for (std::size_t at = 0; at < wire.size();) {
        const auto n = std::min<std::size_t>(*rc::gen::inRange<std::size_t>(1, 13), wire.size() - at);
        s.feed(ByteView(wire).subspan(at, n));
        at += n;
        for (const auto& m : all(s)) got.push_back(m.body);
    }
    RC_ASSERT(got == sent);
    RC_ASSERT(s.kept() == 0u);
}

RC_GTEST_PROP(DoipDecode, WhatDecodesEncodesToItself, (const std::vector<std::uint8_t>& noise)) {
    // Random payloads under a right header; reserved bytes are written as zero, so those types are left out.
    const auto type = *rc::gen::element<std::uint16_t>(0x0000, 0x0001, 0x0002, 0x0003, 0x0004, 0x0007, 0x0008, 0x4001,
                                                       0x4002, 0x4003, 0x4004, 0x8001, 0x8002, 0x8003);
    Bytes wire{0x03, 0xFC, static_cast<Byte>(type >> 8), static_cast<Byte>(type)};
    append_be32(wire, static_cast<std::uint32_t>(noise.size()));
    append(wire, noise);
    if (const auto m = decode(wire)) RC_ASSERT(encode(*m) == wire);
}

}  // namespace
}  // namespace fettle::link::doip
