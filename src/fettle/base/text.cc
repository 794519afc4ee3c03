#include "fettle/base/text.h"

#include <fmt/core.h>

#include <algorithm>

namespace fettle {
std::vector<std::string> split(std::string_view text, char at) {
    std::vector<std::string> out;
    std::size_t from = 0;
    for (;;) {
        const std::size_t to = text.find(at, from);
        out.emplace_back(text.substr(from, to - from));
        if (to == std::string_view::npos) return out;
        from = to + 1;
    }
}

std::string_view trim(std::string_view text) {
    constexpr std::string_view blanks = " \t\r\n";
    const auto first = text.find_first_not_of(blanks);
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

std::string join(const std::vector<std::string>& parts, std::string_view between) {
    std::string out;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        if (i) out += between;
        out += parts[i];
    }
    return out;
}

std::string lower(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    return out;
}

std::string upper(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    return out;
}

std::string plural(std::uint64_t n, std::string_view one, std::string_view more) {
    if (n == 1) return fmt::format("1 {}", one);
    return more.empty() ? fmt::format("{} {}s", n, one) : fmt::format("{} {}", n, more);
}

std::string_view without_mark(std::string_view text) {
    if (text.starts_with("\xef\xbb\xbf")) text.remove_prefix(3);
    return text;
}

bool Lines::next(std::string_view& line) {
    if (rest_.empty()) return false;
    line = rest_.substr(0, rest_.find('\n'));
    rest_.remove_prefix(std::min(line.size() + 1, rest_.size()));
    if (line.ends_with('\r')) line.remove_suffix(1);
    ++number_;
    return true;
}

std::string human_bytes(std::uint64_t bytes) {
    if (bytes < 1024) return fmt::format("{} bytes", bytes);
    if (bytes < 1024 * 1024) return fmt::format("{} KiB", (bytes + 512) / 1024);
    const double mib = static_cast<double>(bytes) / (1024.0 * 1024.0);
    if (mib < 100) return fmt::format("{:.1f} MiB", mib);
    const auto whole = static_cast<unsigned long long>(mib + 0.5);
    return whole < 1000 ? fmt::format("{} MiB", whole) : fmt::format("{},{:03} MiB", whole / 1000, whole % 1000);
}

std::size_t utf8_length(std::string_view s) {
    if (s.empty()) return 0;
    const auto at = [&](std::size_t i) { return static_cast<unsigned char>(s[i]); };
    const auto tail = [&](std::size_t i) { return i < s.size() && (at(i) & 0xC0) == 0x80; };
    const unsigned a = at(0);
    if (a < 0x80) return 1;
    if (a >= 0xC2 && a <= 0xDF) return tail(1) ? 2 : 0;
    if (a >= 0xE0 && a <= 0xEF) {
        if (!tail(1) || !tail(2)) return 0;
        const unsigned b = at(1);
        if ((a == 0xE0 && b < 0xA0) || (a == 0xED && b > 0x9F)) return 0;
        return 3;
    }
    if (a >= 0xF0 && a <= 0xF4) {
        if (!tail(1) || !tail(2) || !tail(3)) return 0;
        const unsigned b = at(1);
        if ((a == 0xF0 && b < 0x90) || (a == 0xF4 && b > 0x8F)) return 0;
        return 4;
    }
    return 0;
}

bool is_utf8(std::string_view text) {
    while (!text.empty()) {
        const std::size_t n = utf8_length(text);
        if (n == 0) return false;
        text.remove_prefix(n);
    }
    return true;
}

bool is_unseen(std::string_view c) {
    const auto at = [&](std::size_t i) { return static_cast<unsigned char>(c[i]); };
    if (c.size() == 1) return at(0) < 0x20 || at(0) == 0x7F;
    if (c.size() == 2) return at(0) == 0xC2 && at(1) < 0xA0;  // C1 control characters
    if (c.size() != 3 || at(0) != 0xE2) return false;
    // U+200E, U+200F; U+2028 to U+202E; U+2066 to U+2069
    return (at(1) == 0x80 && (at(2) == 0x8E || at(2) == 0x8F || (at(2) >= 0xA8 && at(2) <= 0xAE))) ||
           (at(1) == 0x81 && at(2) >= 0xA6 && at(2) <= 0xA9);
}

std::string printable(std::string_view text) {
    std::string out;
    while (!text.empty()) {
        const std::size_t n = utf8_length(text);
        const std::string_view character = text.substr(0, n ? n : 1);
        if (n == 0 || is_unseen(character))
            for (const char c : character) out += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
        else
            out += character;
        text.remove_prefix(character.size());
    }
    return out;
}

std::string shortened(std::string_view text) {
    constexpr std::size_t longest = 1000, head = 200, tail = 50;
    const auto inside = [&](std::size_t i) { return (static_cast<unsigned char>(text[i]) & 0xC0) == 0x80; };
    std::string out;
    std::size_t from = 0;
    while (from < text.size()) {
        std::size_t to = std::min(text.find(' ', from), text.size());
        if (to - from > longest) {
            std::size_t left = from + head, right = to - tail;
            while (left > from && inside(left)) --left;
            while (right < to && inside(right)) ++right;
            out += fmt::format("{}…[{} bytes]…{}", text.substr(from, left - from), to - from,
                               text.substr(right, to - right));
        } else {
            out += text.substr(from, to - from);
        }
        if (to < text.size()) out += ' ';
        from = to + 1;
    }
    return out;
}

std::string escape_markup(std::string_view text) {
    std::string out;
    for (char c : printable(text)) {
        switch (c) {
            case '&': out += "&amp;"; break;
            case '<': out += "&lt;"; break;
            case '>': out += "&gt;"; break;
            case '"': out += "&quot;"; break;
            case '\'': out += "&#39;"; break;
            default: out += c;
        }
    }
    return out;
}

}  // namespace fettle
