#include "fettle/base/bytes.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle {
namespace {

const Bytes counting = {0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08};

TEST(Bytes, OrderOfBytes) {
    EXPECT_EQ(load_le16(counting, 0), 0x0201);
    EXPECT_EQ(load_le32(counting, 1), 0x05040302u);
    EXPECT_EQ(load_le64(counting, 0), 0x0807060504030201u);
    EXPECT_EQ(load_be16(counting, 6), 0x0708);
    EXPECT_EQ(load_be32(counting, 4), 0x05060708u);
    Bytes out;
    append_be16(out, 0x0102);
    append_be32(out, 0x03040506);
    EXPECT_EQ(hex(out), "010203040506");
}

RC_GTEST_PROP(Bytes, StoredIsLoaded, (std::uint64_t v)) {
    Bytes b(16, 0xEE);
    store_le64(b, 3, v);
    RC_ASSERT(load_le64(b, 3) == v);
    store_le32(b, 3, static_cast<std::uint32_t>(v));
    RC_ASSERT(load_le32(b, 3) == static_cast<std::uint32_t>(v));
    store_le16(b, 3, static_cast<std::uint16_t>(v));
    RC_ASSERT(load_le16(b, 3) == static_cast<std::uint16_t>(v));
    RC_ASSERT(b[2] == 0xEE && b[11] == 0xEE);
}

TEST(Bytes, CursorSaysNoAndStays) {
    Cursor c(counting);
    EXPECT_EQ(c.u8(), 0x01);
    EXPECT_EQ(c.be16(), 0x0203);
    EXPECT_EQ(c.be32(), 0x04050607u);
    EXPECT_EQ(c.be16(), std::nullopt);
    EXPECT_EQ(c.be32(), std::nullopt);
    EXPECT_FALSE(c.take(2));
    EXPECT_FALSE(c.take(static_cast<std::size_t>(-1)));
    EXPECT_EQ(c.left(), 1u);
    EXPECT_EQ(c.u8(), 0x08);
    EXPECT_EQ(c.u8(), std::nullopt);
    EXPECT_EQ(c.take(0)->size(), 0u);
}

RC_GTEST_PROP(Bytes, HexThereAndBack, (const Bytes& b)) {
    RC_ASSERT(unhex(hex(b)).value() == b);
}

TEST(Bytes, HexThatIsNone) {
    EXPECT_EQ(hex(unhex("aAfF09").value()), "aaff09");
    for (const char* bad : {"a", "0g", "0x11", " 1", "1 "}) EXPECT_FALSE(unhex(bad)) << bad;
}

}  // namespace
}  // namespace fettle
