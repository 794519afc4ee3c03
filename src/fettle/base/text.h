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

// Bytes of the first character of the text; 0 when it does not begin with valid UTF-8 (or is empty).
std::size_t utf8_length(std::string_view text);

// Whether showing this one character may do something else than be seen: control characters, and those that turn the
// direction of the text around them or break its line.
bool is_unseen(std::string_view character);

// For showing hostile text: control characters, turned directions and invalid UTF-8 become \xNN.
std::string printable(std::string_view text);

// printable(), then safe as the text and as an attribute of HTML and SVG.
std::string escape_markup(std::string_view text);

// Words of more than 1,000 bytes keep their beginning and end, and say how many bytes they have.
std::string shortened(std::string_view text);

}  // namespace fettle
