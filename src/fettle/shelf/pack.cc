// A pack is a file of records, each with its own check over head and bytes: a pack that was cut off by a kill ends in a
// record that does not check, and everything before it stands.
#include "fettle/shelf/pack.h"

#include <xxh_x86dispatch.h>  // the widest registers that this processor has

#include <algorithm>

namespace fettle::shelf {
namespace {

constexpr std::string_view pack_mark = "FettlePk";
constexpr std::string_view record_mark = "FtOb";
constexpr std::size_t checked_head = 32;

std::uint64_t record_check(ByteView head, ByteView stored) {
    // Seeded with the head's own check: one pass over each, no copy.
    return XXH3_64bits_withSeed(stored.data(), stored.size(), quick_check(head.first(checked_head)));
}

}  // namespace

std::uint64_t quick_check(ByteView bytes) {
    return XXH3_64bits(bytes.data(), bytes.size());
}

Bytes pack_head() {
    Bytes out(pack_head_bytes);
    std::copy_n(as_bytes(pack_mark).begin(), pack_mark.size(), out.begin());
    store_le32(out, 8, 1);
    return out;
}

void write_record_head(const RecordHead& head, ByteView stored, ByteSpan into) {
    std::fill_n(into.begin(), record_head_bytes, Byte{0});
    std::copy_n(as_bytes(record_mark).begin(), record_mark.size(), into.begin());
    into[4] = static_cast<Byte>(head.form);
    store_le32(into, 8, static_cast<std::uint32_t>(stored.size()));
    store_le32(into, 12, head.size);
    store_le64(into, 16, head.content_check);
    store_le64(into, 24, head.prefix_check);
    store_le64(into, 32, record_check(into, stored));
}

std::optional<Record> read_record(ByteView bytes) {
    if (bytes.size() < record_head_bytes || as_text(bytes.first(4)) != record_mark || bytes[4] > 2 || bytes[5] != 0 ||
        bytes[6] != 0 || bytes[7] != 0)
        return std::nullopt;
    Record r;
    r.head = {static_cast<Form>(bytes[4]), load_le32(bytes, 8), load_le32(bytes, 12), load_le64(bytes, 16),
              load_le64(bytes, 24)};
    if (r.head.size > part_limit || r.head.stored > r.head.size || r.head.stored > bytes.size() - record_head_bytes)
        return std::nullopt;
    r.stored = bytes.subspan(record_head_bytes, r.head.stored);
    if (load_le64(bytes, 32) != record_check(bytes, r.stored)) return std::nullopt;
    return r;
}

ByteSpan Buffer::fit(std::size_t size) {
    if (size > capacity_) {
        bytes_.reset();
        bytes_ = std::make_unique_for_overwrite<Byte[]>(size);
        capacity_ = size;
    }
    size_ = size;
    return span();
}

}  // namespace fettle::shelf
