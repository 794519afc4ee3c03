#include "fettle/base/bytes.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle {
namespace {

TEST(Bytes, LoadsTakeTheStatedByteOrder) {
    const Bytes b{0xFF, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08};
    EXPECT_EQ(load_le16(b, 1), 0x0201);
    EXPECT_EQ(load_be16(b, 1), 0x0102);
    EXPECT_EQ(load_le32(b, 1), 0x04030201u);
    EXPECT_EQ(load_be32(b, 1), 0x01020304u);
    EXPECT_EQ(load_le64(b, 1), 0x0807060504030201u);
}

RC_GTEST_PROP(Bytes, StoresAndLoadsAgree, (std::uint16_t a, std::uint32_t b, std::uint64_t c)) {
    Bytes buffer(20);
    store_le16(buffer, 1, a);
    store_le32(buffer, 3, b);
    store_le64(buffer, 7, c);
    RC_ASSERT(load_le16(buffer, 1) == a && load_le32(buffer, 3) == b && load_le64(buffer, 7) == c);
    Bytes big;
    append_be16(big, a);
    append_be32(big, b);
    RC_ASSERT(load_be16(big, 0) == a && load_be32(big, 2) == b && big.size() == 6);
}

RC_GTEST_PROP(Bytes, HexGoesThereAndBack, (const Bytes& b)) {
    RC_ASSERT(unhex(hex(b)) == b);
}

TEST(Bytes, UnhexRefusesWhatIsNoHex) {
    EXPECT_EQ(unhex("0"), std::nullopt);
    EXPECT_EQ(unhex("0g"), std::nullopt);
    EXPECT_EQ(unhex("0 "), std::nullopt);
    EXPECT_EQ(unhex("aF"), (Bytes{0xAF}));
    EXPECT_EQ(unhex(""), Bytes{});
}

// Never past the end, and a refused read leaves the position.
RC_GTEST_PROP(Cursor, NeverLooksPastTheEnd, (const Bytes& b, const std::vector<std::uint8_t>& moves)) {
    Cursor c(b);
    std::size_t taken = 0;
    for (const std::uint8_t m : moves) {
        const std::size_t before = c.left();
        std::size_t want = 0;
        bool ok = false;
        switch (m % 4) {
            case 0:
                want = 1;
                ok = c.u8().has_value();
                break;
            case 1:
                want = 2;
                ok = c.be16().has_value();
                break;
            case 2:
                want = 4;
                ok = c.be32().has_value();
                break;
            default: want = m; ok = c.take(m).has_value();
        }
        RC_ASSERT(ok == (want <= before));
        RC_ASSERT(c.left() == (ok ? before - want : before));
        taken += ok ? want : 0;
    }
    RC_ASSERT(c.rest().size() == b.size() - taken);
}

TEST(Cursor, TakeDoesNotWrapAround) {
    const Bytes b{1, 2, 3};
    Cursor c(b);
    EXPECT_EQ(c.u8(), 1);
    EXPECT_EQ(c.take(static_cast<std::size_t>(-1)), std::nullopt);
    EXPECT_EQ(c.be16(), 0x0203);
}

}  // namespace
}  // namespace fettle
