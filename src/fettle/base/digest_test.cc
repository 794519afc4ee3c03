#include "fettle/base/digest.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cstdio>

#include "fettle/base/source_path.h"
#include "fettle/base/test_csv.h"

namespace fettle {
namespace {

Bytes message_of(const CsvRow& row) {
    Bytes unit;
    if (row.at("encoding") == "hex")
        unit = unhex(row.at("unit")).value();
    else
        unit.assign(row.at("unit").begin(), row.at("unit").end());
    Bytes out;
    for (int i = std::stoi(row.at("repeat")); i > 0; --i) append(out, unit);
    return out;
}

// NIST SHA2_Additional.pdf (published), FIPS 180-2 appendix B and CAVP short messages (from memory, recomputed).
TEST(Sha256, AgreesWithPublishedVectors) {
    for (const CsvRow& row : read_csv("sha256.csv")) {
        const Bytes message = message_of(row);
        ASSERT_EQ(message.size(), std::stoul(row.at("length_bytes"))) << row.at("name");
        EXPECT_EQ(sha256_hex(message), row.at("sha256")) << row.at("name");
    }
}

TEST(Sha256, IsTheSameInPiecesOfAnySize) {
    for (const CsvRow& row : read_csv("sha256.csv")) {
        const Bytes message = message_of(row);
        if (message.size() > 2000) continue;
        for (const std::size_t piece : {1u, 63u, 64u, 65u, 4096u}) {
            Sha256Stream stream;
            for (std::size_t i = 0; i < message.size(); i += piece)
                stream.update(ByteView(message).subspan(i, std::min(piece, message.size() - i)));
            EXPECT_EQ(hex(stream.finish()), row.at("sha256")) << row.at("name") << " in pieces of " << piece;
        }
    }
}

TEST(Sha256, StreamStartsAnewAfterFinish) {
    Sha256Stream stream;
    stream.update(as_bytes("abc"));
    const auto first = hex(stream.finish());
    stream.update(as_bytes("abc"));
    EXPECT_EQ(hex(stream.finish()), first);
}

// CRC-32/ISO-HDLC check value (published); the others from memory or derived, each marked in the table.
TEST(Crc32, AgreesWithPublishedVectors) {
    for (const CsvRow& row : read_csv("crc32.csv")) {
        char text[9];
        std::snprintf(text, sizeof text, "%08X", crc32(unhex(row.at("message_hex")).value()));
        EXPECT_EQ(std::string(text), row.at("crc32")) << row.at("name");
    }
}

RC_GTEST_PROP(Crc32, GoesOnFromWhereItWas, (const Bytes& a, const Bytes& b)) {
    Bytes both = a;
    append(both, b);
    RC_ASSERT(crc32(b, crc32(a)) == crc32(both));
}

// "abc": SHA-1 and SHA-512 from FIPS 180-2 appendices A.1, C.1; MD5 from RFC 1321 A.5 (from memory, widely printed).
TEST(DigestByName, KnowsFiveAlgorithms) {
    const ByteView abc = as_bytes("abc");
    EXPECT_EQ(digest_hex("sha1", abc).value(), "a9993e364706816aba3e25717850c26c9cd0d89d");
    EXPECT_EQ(digest_hex("md5", abc).value(), "900150983cd24fb0d6963f7d28e17f72");
    EXPECT_EQ(digest_hex("crc32", abc).value(), "352441c2");
    EXPECT_EQ(digest_hex("sha256", abc).value(), sha256_hex(abc));
    EXPECT_EQ(digest_hex("sha512", abc).value().substr(0, 32), "ddaf35a193617abacc417349ae204131");
}

TEST(DigestByName, RefusesOthersByName) {
    for (const char* name : {"", "SHA256", "sha3", "sha-256"}) {
        const auto r = digest_hex(name, {});
        ASSERT_FALSE(r) << name;
        EXPECT_EQ(r.error().kind, ErrorKind::bad_input);
        EXPECT_EQ(r.error().code, "digest-unknown");
    }
}

TEST(Sha256OfFile, SaysWhatIsWrong) {
    const auto missing = sha256_hex_of_file("/nowhere/at/all");
    ASSERT_FALSE(missing);
    EXPECT_EQ(missing.error().kind, ErrorKind::bad_input);
    const auto real = sha256_hex_of_file(source_path("families/dunnock.toml"));
    ASSERT_TRUE(real);
    EXPECT_EQ(real->size(), 64u);
}

}  // namespace
}  // namespace fettle
