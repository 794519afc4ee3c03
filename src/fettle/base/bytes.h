// Bytes, numbers in bytes, and hex. The only place where bytes become numbers: little-endian for FAT, big-endian for
// DoIP and UDS; no other file casts a buffer to a struct.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace fettle {

using Byte = std::uint8_t;
using Bytes = std::vector<Byte>;
using ByteView = std::span<const Byte>;
using ByteSpan = std::span<Byte>;

// Loads: the caller has checked that the bytes are there (at + width <= size); a violation is a bug, not bad input.
std::uint16_t load_le16(ByteView b, std::size_t at);
std::uint32_t load_le32(ByteView b, std::size_t at);
std::uint64_t load_le64(ByteView b, std::size_t at);
std::uint16_t load_be16(ByteView b, std::size_t at);
std::uint32_t load_be32(ByteView b, std::size_t at);
void store_le16(ByteSpan b, std::size_t at, std::uint16_t v);
void store_le32(ByteSpan b, std::size_t at, std::uint32_t v);
void store_le64(ByteSpan b, std::size_t at, std::uint64_t v);
void append_be16(Bytes& out, std::uint16_t v);
void append_be32(Bytes& out, std::uint32_t v);
void append(Bytes& out, ByteView more);

// Reads from untrusted input: takes what is left, advances, and says no (nullopt, position unchanged) rather than look
// past the end.
class Cursor {
public:
    explicit Cursor(ByteView b) : rest_(b) {}
    std::size_t left() const { return rest_.size(); }
    std::optional<std::uint8_t> u8();
    std::optional<std::uint16_t> be16();
    std::optional<std::uint32_t> be32();
    std::optional<ByteView> take(std::size_t n);  // a view into the input; lives as long as the input
    ByteView rest() const { return rest_; }

private:
    ByteView rest_;
};

std::string hex(ByteView b);                        // lower case, no separators
std::optional<Bytes> unhex(std::string_view text);  // nullopt on odd length or a character that is no hex digit

ByteView as_bytes(std::string_view text);  // the text's own bytes; lives as long as the text
std::string as_text(ByteView b);           // copies the bytes unchanged

}  // namespace fettle
