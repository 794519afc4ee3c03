// Small text helpers that more than one room needs.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace fettle {

std::vector<std::string> split(std::string_view text, char at);
std::string_view trim(std::string_view text);  // blanks, tabs, CR, LF at both ends
std::string join(const std::vector<std::string>& parts, std::string_view between);

// "1,600 MiB", "39.0 MiB", "412 KiB", "17 bytes".
std::string human_bytes(std::uint64_t bytes);

// Valid UTF-8 (no overlong forms, no surrogates, nothing above U+10FFFF).
bool is_utf8(std::string_view text);

// For showing hostile text: control characters and invalid UTF-8 become \xNN.
std::string printable(std::string_view text);

}  // namespace fettle
