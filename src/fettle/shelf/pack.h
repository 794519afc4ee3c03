// The pack format: many stored parts in one file, so that they cost one sync. All numbers little-endian.
//
//   0   8   "FettlePk"
//   8   4   version, 1
//   12  4   zero
//   16  …   records, one after the other, each
//       0   4   "FtOb"
//       4   1   kind: 0 as it is, 1 zstd frame, 2 zstd frame with another part's content as prefix
//       5   3   zero
//       8   4   stored bytes that follow the header
//       12  4   size of the content; at most part_limit
//       16  8   XXH3-64 of the content
//       24  8   XXH3-64 of the prefix's content; zero unless kind 2
//       32  8   XXH3-64 of the 32 bytes before and the stored bytes
//
// XXH3 tells a damaged record from one whose prefix is damaged. It is no proof of identity: that is the SHA-256 of the
// whole piece in the catalogue. Where a record stands, and which part is its prefix, the catalogue knows.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::shelf {

inline constexpr std::size_t part_limit = 32u << 20;  // a longer piece is kept in parts of this size
inline constexpr std::size_t pack_head_bytes = 16;
inline constexpr std::size_t record_head_bytes = 40;

enum class Form : Byte { plain = 0, zstd = 1, delta = 2 };

struct RecordHead {
    Form form = Form::plain;
    std::uint32_t stored = 0, size = 0;
    std::uint64_t content_check = 0, prefix_check = 0;
    bool operator==(const RecordHead&) const = default;
};

std::uint64_t quick_check(ByteView bytes);  // XXH3-64: for accidents

Bytes pack_head();

// Writes the 40 bytes; `stored` is what will follow.
void write_record_head(const RecordHead& head, ByteView stored, ByteSpan into);

// One record at the front of `bytes`; nullopt when it is torn, damaged, or claims what no record may (a size over
// part_limit, more stored bytes than are there). The view lives as long as `bytes`.
struct Record {
    RecordHead head;
    ByteView stored;
};
std::optional<Record> read_record(ByteView bytes);

// A buffer that grows without being filled first, and is used again.
class Buffer {
public:
    ByteSpan fit(std::size_t size);  // its content is lost
    ByteView view() const { return {bytes_.get(), size_}; }
    ByteSpan span() { return {bytes_.get(), size_}; }
    std::size_t capacity() const { return capacity_; }
    void shrink(std::size_t size) { size_ = size; }  // size <= the size now

private:
    std::unique_ptr<Byte[]> bytes_;
    std::size_t size_ = 0, capacity_ = 0;
};

// zstd, with its memory kept from call to call. One thread at a time.
class Press {
public:
    Press();
    ~Press();
    Press(Press&&) noexcept;
    Press& operator=(Press&&) noexcept;

    // The smaller of the content as it is, a frame, and (with a prefix) a frame over the prefix, into `out`, after
    // record_head_bytes that are left free.
    Form squeeze(ByteView content, std::optional<ByteView> prefix, Buffer& out);

    // `out.size()` bytes of content; false when the stored bytes do not give exactly that. Any input is safe.
    bool expand(Form form, ByteView stored, ByteView prefix, ByteSpan out);

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace fettle::shelf
