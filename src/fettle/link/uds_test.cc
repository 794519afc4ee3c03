// ISO 14229-1 as far as a reader needs it. Tables: tests/data/reference/uds-messages.csv, nrc.csv, dtc-*.csv; their
// column `source` names it.
#include "fettle/link/uds.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <set>

#include "fettle/base/text.h"
#include "reference_test_help.h"

namespace fettle::link::uds {
namespace {

using testing::bytes_of;
using testing::table;

std::string fmt_key(unsigned service, unsigned second, std::size_t length) {
    const Byte b[] = {static_cast<Byte>(service), static_cast<Byte>(second)};
    return hex(ByteView(b).first(1)) + " " + hex(ByteView(b).last(1)) + " " + std::to_string(length);
}

// --- what may be asked ----------------------------------------------------------------------------------------------

// The prohibition over its whole domain: every service, every second byte, every length up to 8. What passes is written
// down here by hand, so that a slip in the allow-list cannot agree with itself.
TEST(AllowList, SweepOfAll256ServicesAndSecondBytes) {
    std::set<std::string> passed;
    for (unsigned service = 0; service < 256; ++service)
        for (unsigned second = 0; second < 256; ++second)
            for (std::size_t length = 1; length <= 8; ++length) {
                Bytes b(length, 0x33);
                b[0] = static_cast<Byte>(service);
                if (length > 1) b[1] = static_cast<Byte>(second);
                const auto r = ReadRequest::from_bytes(b);
                if (r) {
                    EXPECT_EQ(r->bytes(), b);
                    passed.insert(fmt_key(service, second, length));
                }
            }
    std::set<std::string> allowed{"10 01 2", "10 03 2", "19 01 3", "19 02 3",
                                  "19 04 6", "19 06 6", "3e 00 2", "3e 80 2"};
    for (unsigned second = 0; second < 256; ++second)
        for (const unsigned length : {3u, 5u, 7u}) allowed.insert(fmt_key(0x22, second, length));
    EXPECT_EQ(passed, allowed);
    EXPECT_FALSE(ReadRequest::from_bytes({}));
}

TEST(AllowList, RefusalNamesTheBytes) {
    const auto r = ReadRequest::from_bytes(Bytes{0x31, 0x01, 0xFF, 0x00});
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().code, "request-not-allowed");
    EXPECT_EQ(r.error().problem, "3101ff00 is not on the list of what the link may ask");
}

TEST(AllowList, BuildersMakeOnlyWhatTheGateLetsThrough) {
    const std::uint16_t dids[] = {0xF187, 0xF18C};
    for (const auto& r : {ReadRequest::tester_present(), ReadRequest::tester_present(true), ReadRequest::codes(0xFF),
                          ReadRequest::snapshot(0x9A4F13), ReadRequest::extended_data(0x9A4F13, 1),
                          ReadRequest::identifier(0xF195), ReadRequest::identifiers(dids)})
        EXPECT_TRUE(ReadRequest::from_bytes(r.bytes())) << hex(r.bytes());
    EXPECT_EQ(ReadRequest::identifiers(dids).bytes(), bytes_of("22 F1 87 F1 8C"));
    EXPECT_THROW(ReadRequest::identifiers({}), std::invalid_argument);
    EXPECT_THROW(ReadRequest::identifiers(std::vector<std::uint16_t>(2047)), std::invalid_argument);
}

TEST(AllowList, ClearingIsATypeOfItsOwnAndNoReadRequest) {
    static_assert(!std::is_convertible_v<ClearRequest, ReadRequest>);
    static_assert(!std::is_constructible_v<ReadRequest, ClearRequest>);
    static_assert(!std::is_constructible_v<ReadRequest, Bytes>);
    EXPECT_EQ(ClearRequest(ClearRequest::all).bytes(), bytes_of("14 FF FF FF"));  // uds-messages.csv, "clear all"
    EXPECT_FALSE(ReadRequest::from_bytes(ClearRequest(ClearRequest::all).bytes()));
    EXPECT_EQ(ClearRequest::from_bytes(bytes_of("14 FF FF 33")).value().group(), 0xFFFF33u);
    EXPECT_THROW(ClearRequest(0x1000000), std::invalid_argument);
}

TEST(Messages, PublishedPairsOfRequestAndAnswer) {
    int looked = 0;
    for (const auto& r : table("uds-messages.csv")) {
        const auto request = ReadRequest::from_bytes(bytes_of(r.at("request_hex")));
        if (!request) continue;  // services that the link does not send
        SCOPED_TRACE(r.at("case"));
        ++looked;
        const std::string& name = r.at("case");
        if (r.at("response_hex").empty()) {
            EXPECT_TRUE(request->quiet());
            continue;
        }
        const Seen seen = look_at(*request, bytes_of(r.at("response_hex")));
        if (name == "refused: out of range") {
            EXPECT_EQ(seen.kind, Kind::negative);
            EXPECT_EQ(nrc_name(seen.nrc), "requestOutOfRange");
        } else if (name == "response pending then answer") {
            EXPECT_EQ(seen.kind, Kind::pending);
        } else {
            EXPECT_EQ(seen.kind, Kind::positive);
        }
    }
    EXPECT_EQ(looked, 10);
}

TEST(Messages, VinOfThePublishedExample) {
    for (const auto& r : table("uds-messages.csv"))
        if (r.at("case") == "read VIN") {
            EXPECT_EQ(as_text(identifier_data(0xF190, bytes_of(r.at("response_hex"))).value()), "W0L000043MB541326");
        }
}

TEST(LookAt, WhatDoesNotBelongIsForeign) {
    const auto read = ReadRequest::identifier(0xF195);
    EXPECT_EQ(look_at(read, {}).kind, Kind::foreign);
    EXPECT_EQ(look_at(read, bytes_of("62 F1 87 41")).kind, Kind::foreign);  // another identifier
    EXPECT_EQ(look_at(read, bytes_of("62 F1")).kind, Kind::foreign);        // cut off
    EXPECT_EQ(look_at(read, bytes_of("7F 19 31")).kind, Kind::foreign);     // refusal of another service
    EXPECT_EQ(look_at(read, bytes_of("7F 22")).kind, Kind::foreign);        // cut off
    EXPECT_EQ(look_at(read, bytes_of("7F 22 00")).kind, Kind::foreign);     // "positive" as a refusal
    EXPECT_EQ(look_at(read, bytes_of("7F 22 31 00")).kind, Kind::foreign);
    EXPECT_EQ(look_at(bytes_of("10 03"), bytes_of("50 01 00 32 01 F4")).kind, Kind::foreign);
    EXPECT_EQ(look_at(ReadRequest::codes(0xFF), bytes_of("59 01 FF 01 00 01")).kind, Kind::foreign);
}

// --- refusals ------------------------------------------------------------------------------------------------------

TEST(Nrc, NamesAreThePublishedOnesAndEveryOneHasWords) {
    std::set<int> named;
    for (const auto& r : table("nrc.csv")) {
        const auto code = bytes_of(r.at("code"))[0];
        named.insert(code);
        EXPECT_EQ(nrc_name(code), r.at("name"));
        EXPECT_FALSE(nrc_words(code).empty());
    }
    // Ranges: nrc F0-FE are the maker's (ISO 14229-1 Annex A.1), the rest reserved.
    for (int code = 0; code < 256; ++code)
        if (!named.contains(code)) {
            EXPECT_EQ(nrc_name(static_cast<std::uint8_t>(code)),
                      code >= 0xF0 && code <= 0xFE ? "maker's own" : "reserved");
        }
}

// --- trouble codes
// -----------------------------------------------------------------------------------------------------

TEST(Dtc, LettersAndDigitsOfThePrintedExamples) {
    for (const auto& r : table("dtc-examples.csv")) {
        SCOPED_TRACE(r.at("dtc_hex"));
        const Bytes b = bytes_of(r.at("dtc_hex"));
        if (b.size() == 2) {
            EXPECT_EQ(code_text_short(load_be16(b, 0)), r.at("code"));
            continue;
        }
        const std::uint32_t number =
            static_cast<std::uint32_t>(b[0]) << 16 | static_cast<std::uint32_t>(b[1]) << 8 | b[2];
        const std::string text = r.at("code") + "-" + r.at("failure_type");
        EXPECT_EQ(code_text(number), text);
        EXPECT_EQ(code_number(text), number);
    }
}

TEST(Dtc, OtherFormsAreNoCode) {
    for (const char* bad :
         {"", "B1A4F", "B1A4F-1", "B1A4F-133", "X1A4F-13", "B4A4F-13", "B1A4G-13", "b1A4F-13", "B1A4F 13", "B1a4f-13"})
        EXPECT_FALSE(code_number(bad)) << bad;
}

RC_GTEST_PROP(Dtc, EveryNumberComesBack, ()) {
    const auto n = *rc::gen::inRange<std::uint32_t>(0, 0x1000000);
    RC_ASSERT(code_number(code_text(n)) == n);
}

TEST(Codes, WorkedAnswerOfTenCodes) {
    // Published: a list answer of the Scapy project's UDS tests (ten codes, all with status 27).
    const auto l =
        parse_codes(bytes_of("59 02 FF 11 07 11 27 02 32 12 27 01 07 11 27 01 18 12 27 01 13 12 27 01 22 11 27"
                             "06 43 00 27 06 53 00 27 16 31 00 27 14 03 12 27"));
    ASSERT_TRUE(l);
    EXPECT_EQ(l->availability, 0xFF);
    ASSERT_EQ(l->codes.size(), 10u);
    EXPECT_EQ(code_text(l->codes[0].number), "P1107-11");
    EXPECT_EQ(code_text(l->codes[9].number), "P1403-12");
    for (const auto& c : l->codes) EXPECT_EQ(c.status, 0x27);
}

TEST(Codes, ATailThatIsNoMultipleOfFourIsRefused) {
    Bytes answer{0x59, 0x02, 0xFF};
    for (int extra = 0; extra <= 12; ++extra) {
        EXPECT_EQ(parse_codes(answer).has_value(), extra % 4 == 0) << extra;
        answer.push_back(0x01);
    }
    const auto r = parse_codes(bytes_of("59 02 FF 11 07 11"));
    EXPECT_EQ(r.error().problem, "3 bytes of records are not a multiple of four");
}

TEST(Codes, NoneStoredIsAnAnswerAndNoMaskIsNot) {
    const auto none = parse_codes(bytes_of("59 02 FF"));  // uds-messages.csv, "list DTCs, none match"
    ASSERT_TRUE(none);
    EXPECT_TRUE(none->codes.empty());
    EXPECT_FALSE(parse_codes(bytes_of("59 02")));
    EXPECT_FALSE(parse_codes(bytes_of("7F 19 11")));
    EXPECT_FALSE(parse_codes({}));
}

TEST(Codes, ZeroIsACodeLikeAnyOther) {
    EXPECT_EQ(parse_codes(bytes_of("59 02 FF 00 00 00 00 11 07 11 27")).value().codes.size(), 2u);
}

}  // namespace
}  // namespace fettle::link::uds
