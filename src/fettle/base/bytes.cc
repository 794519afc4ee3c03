#include "fettle/base/bytes.h"

#include <cassert>

namespace fettle {
namespace {

template <class T>
T load(ByteView b, std::size_t at, bool big) {
    assert(at + sizeof(T) <= b.size());
    std::uint64_t v = 0;
    for (std::size_t i = 0; i < sizeof(T); ++i) {
        const std::size_t shift = 8 * (big ? sizeof(T) - 1 - i : i);
        v |= static_cast<std::uint64_t>(b[at + i]) << shift;
    }
    return static_cast<T>(v);
}

template <class T>
void store_le(ByteSpan b, std::size_t at, T v) {
    assert(at + sizeof(T) <= b.size());
    for (std::size_t i = 0; i < sizeof(T); ++i) b[at + i] = static_cast<Byte>(static_cast<std::uint64_t>(v) >> (8 * i));
}

int digit(char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    return -1;
}

}  // namespace

std::uint16_t load_le16(ByteView b, std::size_t at) {
    return load<std::uint16_t>(b, at, false);
}
std::uint32_t load_le32(ByteView b, std::size_t at) {
    return load<std::uint32_t>(b, at, false);
}
std::uint64_t load_le64(ByteView b, std::size_t at) {
    return load<std::uint64_t>(b, at, false);
}
std::uint16_t load_be16(ByteView b, std::size_t at) {
    return load<std::uint16_t>(b, at, true);
}
std::uint32_t load_be32(ByteView b, std::size_t at) {
    return load<std::uint32_t>(b, at, true);
}
void store_le16(ByteSpan b, std::size_t at, std::uint16_t v) {
    store_le(b, at, v);
}
void store_le32(ByteSpan b, std::size_t at, std::uint32_t v) {
    store_le(b, at, v);
}
void store_le64(ByteSpan b, std::size_t at, std::uint64_t v) {
    store_le(b, at, v);
}

void append_be16(Bytes& out, std::uint16_t v) {
    out.push_back(static_cast<Byte>(v >> 8));
    out.push_back(static_cast<Byte>(v));
}
void append_be32(Bytes& out, std::uint32_t v) {
    append_be16(out, static_cast<std::uint16_t>(v >> 16));
    append_be16(out, static_cast<std::uint16_t>(v));
}
void append(Bytes& out, ByteView more) {
    out.insert(out.end(), more.begin(), more.end());
}

std::optional<ByteView> Cursor::take(std::size_t n) {
    if (n > rest_.size()) return std::nullopt;
    const ByteView head = rest_.first(n);
    rest_ = rest_.subspan(n);
    return head;
}
std::optional<std::uint8_t> Cursor::u8() {
    const auto b = take(1);
    if (!b) return std::nullopt;
    return (*b)[0];
}
std::optional<std::uint16_t> Cursor::be16() {
    const auto b = take(2);
    if (!b) return std::nullopt;
    return load_be16(*b, 0);
}
std::optional<std::uint32_t> Cursor::be32() {
    const auto b = take(4);
    if (!b) return std::nullopt;
    return load_be32(*b, 0);
}

std::string hex(ByteView b) {
    static constexpr char digits[] = "0123456789abcdef";
    std::string out;
    out.reserve(2 * b.size());
    for (const Byte x : b) {
        out += digits[x >> 4];
        out += digits[x & 15];
    }
    return out;
}

std::optional<Bytes> unhex(std::string_view text) {
    if (text.size() % 2 != 0) return std::nullopt;
    Bytes out;
    out.reserve(text.size() / 2);
    for (std::size_t i = 0; i < text.size(); i += 2) {
        const int hi = digit(text[i]);
        const int lo = digit(text[i + 1]);
        if (hi < 0 || lo < 0) return std::nullopt;
        out.push_back(static_cast<Byte>(16 * hi + lo));
    }
    return out;
}

ByteView as_bytes(std::string_view text) {
    return {reinterpret_cast<const Byte*>(text.data()), text.size()};  // char may alias; this is the one cast
}
std::string as_text(ByteView b) {
    return {reinterpret_cast<const char*>(b.data()), b.size()};
}

}  // namespace fettle
