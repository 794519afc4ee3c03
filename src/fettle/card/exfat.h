// exFAT's own sums and its up-case table, by the exFAT file system specification (sections named at each). Pure.
#pragma once

#include <cstdint>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"

namespace fettle::card::exfat {

inline constexpr std::size_t entry_bytes = 32;
inline constexpr std::uint32_t boot_region_sectors = 12;
inline constexpr std::uint32_t end_of_chain = 0xFFFFFFFF, bad_cluster = 0xFFFFFFF7;

// Entry types (section 6.2.1), with the in-use bit.
inline constexpr Byte bitmap_entry = 0x81, upcase_entry = 0x82, label_entry = 0x83, file_entry = 0x85,
                      stream_entry = 0xC0, name_entry = 0xC1;
// Stream entry, general secondary flags (GeneralSecondaryFlags).
inline constexpr Byte allocation_possible = 0x01, no_fat_chain = 0x02;

// Figure 1: over the first 11 sectors of a boot region, without bytes 106, 107 and 112.
std::uint32_t boot_sum(ByteView sectors_0_to_10);
// Figure 2: over a whole entry set, without bytes 2 and 3.
std::uint16_t set_sum(ByteView entries);
// Figure 3: over the up-case table as it stands on the volume.
std::uint32_t table_sum(ByteView table, std::uint32_t before = 0);
// Figure 4: over the up-cased name.
std::uint16_t name_hash(std::u16string_view upcased);

// The recommended table of section 7.2.5.1: 65,536 units, and its compressed form of 5,836 bytes (sum E619D30D).
const std::vector<char16_t>& recommended_upcase();
Bytes recommended_upcase_compressed();

// A volume's table as it stands there, expanded; what it does not reach maps to itself. Empty when it is damaged (more
// than 65,536 units).
std::vector<char16_t> expanded_upcase(ByteView table);

std::u16string upcased(std::u16string_view name, const std::vector<char16_t>& table);

}  // namespace fettle::card::exfat
