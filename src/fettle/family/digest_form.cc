#include "fettle/family/digest_form.h"

namespace fettle::family {

std::optional<Bytes> unbase64(std::string_view s) {
    while (s.ends_with('=')) s.remove_suffix(1);
    Bytes out;
    std::uint32_t held = 0;
    int bits = 0;
    for (const char c : s) {
        std::uint32_t v = 0;
        if (c >= 'A' && c <= 'Z')
            v = static_cast<std::uint32_t>(c - 'A');
        else if (c >= 'a' && c <= 'z')
            v = static_cast<std::uint32_t>(c - 'a') + 26;
        else if (c >= '0' && c <= '9')
            v = static_cast<std::uint32_t>(c - '0') + 52;
        else if (c == '+' || c == '-')
            v = 62;
        else if (c == '/' || c == '_')
            v = 63;
        else
            return std::nullopt;
        held = (held << 6 | v) & 0xFFFFFF;
        bits += 6;
        if (bits < 8) continue;
        bits -= 8;
        out.push_back(static_cast<Byte>(held >> bits & 0xFF));
    }
    return out;
}

std::optional<std::string> digest_hex(std::string_view text, std::string_view algorithm, std::size_t hex_digits) {
    if (text.size() > algorithm.size() && text.starts_with(algorithm) &&
        std::string_view("-=:").find(text[algorithm.size()]) != std::string_view::npos)
        text.remove_prefix(algorithm.size() + 1);
    std::optional<Bytes> bytes;
    if (text.size() == hex_digits) bytes = unhex(text);
    if (!bytes && text.size() >= (hex_digits * 2 + 2) / 3 && text.size() <= (hex_digits / 2 + 2) / 3 * 4)
        bytes = unbase64(text);
    if (!bytes || bytes->size() * 2 != hex_digits) return std::nullopt;
    return hex(*bytes);
}

}  // namespace fettle::family
