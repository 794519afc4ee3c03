// Small text helpers that more than one room needs.
#pragma once

#include <charconv>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

namespace fettle {

std::vector<std::string> split(std::string_view text, char at);
std::string_view trim(std::string_view text);  // blanks, tabs, CR, LF at both ends
std::string join(const std::vector<std::string>& parts, std::string_view between);
std::string lower(std::string_view text);  // letters A to Z only
std::string upper(std::string_view text);  // letters a to z only

// The text from its first to its last character as a number; nothing when it is empty, when anything else stands in it
// (blanks, a plus), and when T cannot hold it or it is not finite.
template <class T>
std::optional<T> number_in(std::string_view text, int base = 10) {
    T n{};
    std::from_chars_result read{};
    if constexpr (std::is_floating_point_v<T>)
        read = std::from_chars(text.data(), text.data() + text.size(), n);
    else
        read = std::from_chars(text.data(), text.data() + text.size(), n, base);
    if (read.ec != std::errc{} || read.ptr != text.data() + text.size()) return std::nullopt;
    if constexpr (std::is_floating_point_v<T>)
        if (!std::isfinite(n)) return std::nullopt;
    return n;
}

// "1 file", "3 files"; `more` where an s is not enough: ("box", "boxes").
std::string plural(std::uint64_t n, std::string_view one, std::string_view more = {});

// UTF-8's byte order mark, where a text begins with one, left out.
std::string_view without_mark(std::string_view text);

// A text line by line, without line ends (LF or CR LF) and without a byte order mark at its beginning.
class Lines {
public:
    explicit Lines(std::string_view text) : rest_(without_mark(text)) {}
    bool next(std::string_view& line);      // false: no more
    int number() const { return number_; }  // of the line given last, from 1

private:
    std::string_view rest_;
    int number_ = 0;
};

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
