// Names on FAT: the short name every file has, the long name beside it, and how the two are tied. By the FAT
// specification 1.03, "Long File Name Implementation" and "DIR_Name". Pure.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::card {

using ShortName = std::array<Byte, 11>;  // padded with blanks, no dot

// The sum that a long name's entries carry of their short name.
Byte long_name_sum(const ShortName& name);

// "NAME.EXT"; bytes above 127 have no meaning without the code page and become U+FFFD. case_bits: bits 3 and 4 of the
// entry's byte 12, by which common desktop systems note a lower-case base or extension.
// A '/' in it, which no name may have, becomes "\x2F", and a name of blanks "\x20": never a folder, never empty.
std::string shown(const ShortName& name, Byte case_bits = 0);

// UTF-16 of valid UTF-8; nullopt when it is not valid.
std::optional<std::u16string> to_utf16(std::string_view utf8);
// Unpaired surrogates become U+FFFD and set `damaged`.
std::string to_utf8(std::u16string_view utf16, bool& damaged);

// What keeps this name from being laid, as a clause ("ends with a dot"); empty when nothing does.
std::string name_fault(std::string_view utf8);

// The short name that is this very name, if it is one: capitals, 8.3, allowed characters. Upper-cases ASCII letters.
std::optional<ShortName> as_short_name(std::string_view utf8);

// Short names for all names of one folder, in order: the name itself where it is 8.3, else a basis with a numeric
// tail ("RELEAS~1.JSO"), all different. The names must differ as FAT compares them (name_key). bad_input
// `names-clash` when the tails run out.
Result<std::vector<ShortName>> short_names(const std::vector<std::string>& names);

// Whether the name needs long-name entries beside this short name (anything but the short name itself, letter by
// letter).
bool needs_long_name(std::string_view utf8, const ShortName& name);

// Date word of a directory entry. year 1980 to 2107.
std::uint16_t fat_date(int year, int month, int day);

}  // namespace fettle::card
