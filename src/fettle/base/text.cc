#include "fettle/base/text.h"

#include <fmt/core.h>

namespace fettle {
namespace {

// Length of the valid UTF-8 sequence at the front, 0 if there is none.
std::size_t utf8_length(std::string_view s) {
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

}  // namespace

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

std::string human_bytes(std::uint64_t bytes) {
    if (bytes < 1024) return fmt::format("{} bytes", bytes);
    if (bytes < 1024 * 1024) return fmt::format("{} KiB", (bytes + 512) / 1024);
    const double mib = static_cast<double>(bytes) / (1024.0 * 1024.0);
    if (mib < 100) return fmt::format("{:.1f} MiB", mib);
    const auto whole = static_cast<unsigned long long>(mib + 0.5);
    return whole < 1000 ? fmt::format("{} MiB", whole) : fmt::format("{},{:03} MiB", whole / 1000, whole % 1000);
}

bool is_utf8(std::string_view text) {
    while (!text.empty()) {
        const std::size_t n = utf8_length(text);
        if (n == 0) return false;
        text.remove_prefix(n);
    }
    return true;
}

std::string printable(std::string_view text) {
    std::string out;
    while (!text.empty()) {
        const std::size_t n = utf8_length(text);
        const auto c = static_cast<unsigned char>(text[0]);
        if (n == 0 || (n == 1 && (c < 0x20 || c == 0x7F))) {
            out += fmt::format("\\x{:02x}", c);
            text.remove_prefix(1);
        } else if (n == 2 && c == 0xC2 && static_cast<unsigned char>(text[1]) < 0xA0) {  // C1 control characters
            out += fmt::format("\\x{:02x}\\x{:02x}", c, static_cast<unsigned char>(text[1]));
            text.remove_prefix(2);
        } else {
            out += text.substr(0, n);
            text.remove_prefix(n);
        }
    }
    return out;
}

}  // namespace fettle
