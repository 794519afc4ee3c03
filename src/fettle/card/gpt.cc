#include "fettle/card/gpt.h"

#include <fmt/core.h>

#include <algorithm>
#include <boost/crc.hpp>

#include "fettle/card/geometry.h"

namespace fettle::card {
namespace {

constexpr std::size_t fewest_header_bytes = 92;
constexpr std::uint64_t most_entry_bytes = 1u << 20;  // the specification asks for 16 KiB at least

struct Header {
    bool there = false;  // its signature stands here
    std::vector<std::string> wrong;
    std::uint64_t other_at = 0, first_usable = 0, last_usable = 0;  // blocks
    std::uint32_t entries_crc = 0;
    Bytes disk;  // GUID
};

// CRC-32 with the polynomial 04C11DB7h, reflected: section 5.3.2 names the one of ISO 3309.
std::uint32_t crc_of(ByteView b) {
    boost::crc_32_type crc;
    crc.process_bytes(b.data(), b.size());
    return crc.checksum();
}

Status check_entries(BlockDevice& device, ByteView sector, Header& h) {
    const std::uint64_t at = load_le64(sector, 72);
    const std::uint64_t count = load_le32(sector, 80), each = load_le32(sector, 84);
    const std::uint64_t sectors = device.size_bytes() / sector_bytes;
    if (each < 128 || each % 128 != 0 || count == 0 || count * each > most_entry_bytes) {
        h.wrong.push_back(fmt::format("{} entries of {} bytes", count, each));
        return {};
    }
    if (at >= sectors || count * each > (sectors - at) * sector_bytes) {
        h.wrong.push_back(fmt::format("entries at sector {}, beyond the card", at));
        return {};
    }
    Bytes entries(count * each);
    if (Status s = device.read_at(at * sector_bytes, entries); !s) return s;
    if (crc_of(entries) != h.entries_crc)
        h.wrong.push_back(
            fmt::format("its entries have CRC-32 {:08X}, it says {:08X}", crc_of(entries), h.entries_crc));
    return {};
}

Result<Header> header_at(BlockDevice& device, std::uint64_t sector_number) {
    Header h;
    Bytes sector(sector_bytes);
    if (Status s = device.read_at(sector_number * sector_bytes, sector); !s) return pass(s);
    const std::string_view mark = "EFI PART";
    h.there = std::equal(mark.begin(), mark.end(), sector.begin());
    if (!h.there) {
        h.wrong.push_back(fmt::format("sector {} holds no header", sector_number));
        return h;
    }
    const std::size_t size = load_le32(sector, 12);
    const std::uint32_t crc = load_le32(sector, 16);
    h.other_at = load_le64(sector, 32);
    h.first_usable = load_le64(sector, 40);
    h.last_usable = load_le64(sector, 48);
    h.disk.assign(sector.begin() + 56, sector.begin() + 72);
    h.entries_crc = load_le32(sector, 88);
    if (size < fewest_header_bytes || size > sector_bytes) {
        h.wrong.push_back(fmt::format("a header of {} bytes", size));
        return h;
    }
    Bytes summed(sector.begin(), sector.begin() + static_cast<std::ptrdiff_t>(size));
    store_le32(summed, 16, 0);
    if (crc_of(summed) != crc)
        h.wrong.push_back(fmt::format("the header has CRC-32 {:08X}, it says {:08X}", crc_of(summed), crc));
    if (const std::uint64_t own = load_le64(sector, 24); own != sector_number)
        h.wrong.push_back(fmt::format("it says that it stands in sector {}, and stands in {}", own, sector_number));
    if (Status s = check_entries(device, sector, h); !s) return pass(s);
    return h;
}

}  // namespace

Result<GptState> check_gpt(BlockDevice& device) {
    GptState out;
    const std::uint64_t sectors = device.size_bytes() / sector_bytes;
    if (sectors < 3) return out;
    const auto first = header_at(device, 1);
    if (!first) return pass(first);
    out.header = first->wrong;
    const std::uint64_t end = sectors - 1;
    const bool elsewhere = out.header.empty() && first->other_at != end;
    if (elsewhere)
        out.backup.push_back(fmt::format("it should stand in the card's last sector, {}; the header points to {}", end,
                                         first->other_at));
    if (elsewhere && (first->other_at < 2 || first->other_at > end)) return out;
    const auto backup = header_at(device, elsewhere ? first->other_at : end);
    if (!backup) return pass(backup);
    out.backup.insert(out.backup.end(), backup->wrong.begin(), backup->wrong.end());
    if (!backup->there || !out.header.empty() || !backup->wrong.empty()) return out;
    if (backup->other_at != 1)
        out.backup.push_back(fmt::format("it points to sector {} for the first header, not 1", backup->other_at));
    if (backup->entries_crc != first->entries_crc || backup->disk != first->disk ||
        backup->first_usable != first->first_usable || backup->last_usable != first->last_usable)
        out.backup.emplace_back("it holds another table than the first");
    return out;
}

}  // namespace fettle::card
