#include "fettle/base/ed25519.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/source_path.h"

namespace fettle {
namespace {

json::object vectors() {
    const auto text = read_text_file(source_path("tests/data/reference/ed25519.json"));
    return parse_json(text.value(), "ed25519.json").value().as_object();
}

Bytes field(const json::object& o, const char* key) {
    return unhex(text_of(o, key)).value();
}

// RFC 8032 section 7.1 (published).
TEST(Ed25519, AgreesWithRfc8032) {
    const json::object all = vectors();
    std::size_t seen = 0;
    for (const json::value& v : all.at("vectors").as_array()) {
        const json::object& o = v.as_object();
        const Bytes seed = field(o, "secret_key"), message = field(o, "message");
        EXPECT_EQ(hex(ed25519_public(seed)), text_of(o, "public_key")) << text_of(o, "name");
        EXPECT_EQ(hex(ed25519_sign(seed, message)), text_of(o, "signature")) << text_of(o, "name");
        EXPECT_TRUE(ed25519_verify(field(o, "public_key"), message, field(o, "signature"))) << text_of(o, "name");
        ++seen;
    }
    EXPECT_EQ(seen, 5u);
}

// Derived from TEST 2: bit flips, other messages, another key, S + L (RFC 8032 5.1.7 wants S < L), all zeros.
TEST(Ed25519, RefusesEveryNegative) {
    const json::object all = vectors();
    std::size_t seen = 0;
    for (const json::value& v : all.at("negative").as_array()) {
        const json::object& o = v.as_object();
        EXPECT_FALSE(ed25519_verify(field(o, "public_key"), field(o, "message"), field(o, "signature")))
            << text_of(o, "name");
        ++seen;
    }
    EXPECT_EQ(seen, 6u);
}

TEST(Ed25519, OtherLengthsAreNotValid) {
    const Bytes seed(32, 7), key = ed25519_public(seed), message{1, 2, 3}, good = ed25519_sign(seed, message);
    for (std::size_t n = 0; n < 70; ++n) {
        Bytes other_key = key, other_signature = good;
        other_key.resize(n);
        other_signature.resize(n);
        if (n != 32) {
            EXPECT_FALSE(ed25519_verify(other_key, message, good)) << n;
        }
        if (n != 64) {
            EXPECT_FALSE(ed25519_verify(key, message, other_signature)) << n;
        }
    }
    EXPECT_THROW(ed25519_public(Bytes(31)), std::invalid_argument);
    EXPECT_THROW(ed25519_sign(Bytes(33), message), std::invalid_argument);
}

RC_GTEST_PROP(Ed25519, OneChangedBitIsNoticed, (const Bytes& message)) {
    static const Bytes seed(32, 42), key = ed25519_public(seed);
    Bytes signature = ed25519_sign(seed, message);
    RC_ASSERT(ed25519_verify(key, message, signature));
    const auto bit = *rc::gen::inRange<std::size_t>(0, 512);
    signature[bit / 8] = static_cast<Byte>(signature[bit / 8] ^ (1u << (bit % 8)));
    RC_ASSERT(!ed25519_verify(key, message, signature));
}

TEST(Ed25519, NewSeedsDifferAndFingerprintsReadWell) {
    const Bytes a = ed25519_new_seed(), b = ed25519_new_seed();
    EXPECT_EQ(a.size(), 32u);
    EXPECT_NE(a, b);
    const std::string f = key_fingerprint(ed25519_public(a));
    EXPECT_EQ(f.size(), 19u);
    EXPECT_EQ(f[4], f[9]);
    EXPECT_NE(f, key_fingerprint(ed25519_public(b)));
}

}  // namespace
}  // namespace fettle
