#include "fettle/base/ed25519.h"

#include <gtest/gtest.h>

#include "fettle/base/files.h"
#include "fettle/base/json.h"

namespace fettle {
namespace {

json::object reference() {
    const auto text = read_text_file(FETTLE_SOURCE_DIR "/tests/data/reference/ed25519.json");
    return parse_json(text.value(), "ed25519.json").value().as_object();
}

Bytes bytes_at(const json::object& o, const char* key) {
    return unhex(text_of(o, key)).value();
}

TEST(Ed25519, VectorsOfRfc8032) {
    const json::object file = reference();
    ASSERT_EQ(file.at("vectors").as_array().size(), 5u);
    for (const auto& v : file.at("vectors").as_array()) {
        const json::object& o = v.as_object();
        const Bytes seed = bytes_at(o, "secret_key"), message = bytes_at(o, "message");
        EXPECT_EQ(hex(ed25519_public(seed)), text_of(o, "public_key")) << text_of(o, "name");
        EXPECT_EQ(hex(ed25519_sign(seed, message)), text_of(o, "signature")) << text_of(o, "name");
        EXPECT_TRUE(ed25519_verify(bytes_at(o, "public_key"), message, bytes_at(o, "signature")));
    }
}

// Derived from TEST 2: a flipped bit, another message, another key, S + L (RFC 8032 5.1.7), all zero.
TEST(Ed25519, WhatMustBeRefused) {
    const json::object file = reference();
    ASSERT_GE(file.at("negative").as_array().size(), 6u);
    for (const auto& v : file.at("negative").as_array()) {
        const json::object& o = v.as_object();
        EXPECT_FALSE(ed25519_verify(bytes_at(o, "public_key"), bytes_at(o, "message"), bytes_at(o, "signature")))
            << json::serialize(o);
    }
}

TEST(Ed25519, EveryFlippedBitOfASignatureIsRefused) {
    const Bytes seed = ed25519_new_seed(), key = ed25519_public(seed);
    const Bytes good = ed25519_sign(seed, as_bytes("card"));
    ASSERT_TRUE(ed25519_verify(key, as_bytes("card"), good));
    for (std::size_t bit = 0; bit < 8 * good.size(); ++bit) {
        Bytes bad = good;
        bad[bit / 8] ^= static_cast<Byte>(1u << (bit % 8));
        EXPECT_FALSE(ed25519_verify(key, as_bytes("card"), bad)) << bit;
    }
}

TEST(Ed25519, OtherLengthsAreRefused) {
    const Bytes seed = ed25519_new_seed(), key = ed25519_public(seed);
    const Bytes good = ed25519_sign(seed, as_bytes("card"));
    EXPECT_FALSE(ed25519_verify(key, as_bytes("card"), ByteView(good).first(63)));
    EXPECT_FALSE(ed25519_verify(ByteView(key).first(31), as_bytes("card"), good));
    EXPECT_FALSE(ed25519_verify({}, as_bytes("card"), {}));
    EXPECT_THROW(ed25519_sign(ByteView(seed).first(31), {}), std::invalid_argument);
    EXPECT_THROW(ed25519_public({}), std::invalid_argument);
}

TEST(Ed25519, SeedsDifferAndFingerprintsAreReadable) {
    EXPECT_NE(ed25519_new_seed(), ed25519_new_seed());
    const std::string print = key_fingerprint(ed25519_public(ed25519_new_seed()));
    EXPECT_EQ(print.size(), 19u);
    for (const std::size_t at : {4u, 9u, 14u}) EXPECT_FALSE(std::isxdigit(print[at])) << print;
}

}  // namespace
}  // namespace fettle
