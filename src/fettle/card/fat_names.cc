#include "fettle/card/fat_names.h"

#include <fmt/core.h>
#include <utf8proc.h>

#include <algorithm>
#include <cstdlib>
#include <map>
#include <set>

#include "fettle/base/text.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr char32_t unknown = 0xFFFD;

std::u32string decode(std::string_view utf8) {  // of valid UTF-8
    std::u32string out;
    for (std::size_t i = 0; i < utf8.size();) {
        const auto a = static_cast<unsigned char>(utf8[i]);
        const std::size_t n = a < 0x80 ? 1 : a < 0xE0 ? 2 : a < 0xF0 ? 3 : 4;
        char32_t c = n == 1 ? a : a & (0x7Fu >> n);
        for (std::size_t k = 1; k < n; ++k) c = (c << 6) | (static_cast<unsigned char>(utf8[i + k]) & 0x3F);
        out.push_back(c);
        i += n;
    }
    return out;
}

void encode(std::string& out, char32_t c) {
    if (c < 0x80) {
        out += static_cast<char>(c);
    } else if (c < 0x800) {
        out += static_cast<char>(0xC0 | (c >> 6));
        out += static_cast<char>(0x80 | (c & 0x3F));
    } else if (c < 0x10000) {
        out += static_cast<char>(0xE0 | (c >> 12));
        out += static_cast<char>(0x80 | ((c >> 6) & 0x3F));
        out += static_cast<char>(0x80 | (c & 0x3F));
    } else {
        out += static_cast<char>(0xF0 | (c >> 18));
        out += static_cast<char>(0x80 | ((c >> 12) & 0x3F));
        out += static_cast<char>(0x80 | ((c >> 6) & 0x3F));
        out += static_cast<char>(0x80 | (c & 0x3F));
    }
}

bool short_name_character(char32_t c) {  // after upper case; we keep to ASCII, whatever the box's code page
    if ((c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9')) return true;
    return c < 0x80 && c != 0 &&
           std::string_view("$%'-_@~`!(){}^#&").find(static_cast<char>(c)) != std::string_view::npos;
}

char32_t ascii_upper(char32_t c) {
    return c >= 'a' && c <= 'z' ? c - 32 : c;
}

// "Basis-Name Generation Algorithm": base (up to 8) and extension (up to 3), what does not fit replaced or dropped.
struct Basis {
    std::string base, extension;
};

Basis basis_of(std::string_view name) {
    std::u32string left;
    for (const char32_t c : decode(name))
        if (c != ' ') left.push_back(c);
    left.erase(0, std::min(left.find_first_not_of(U'.'), left.size()));
    const std::size_t dot = left.rfind(U'.');
    const auto take = [](std::u32string_view from, std::size_t most) {
        std::string out;
        for (const char32_t c : from) {
            if (c == '.') continue;
            if (out.size() == most) break;
            const char32_t up = ascii_upper(c);
            out += short_name_character(up) ? static_cast<char>(up) : '_';
        }
        return out;
    };
    Basis b;
    const std::u32string_view all = left;
    b.base = take(all.substr(0, dot), 8);
    if (dot != std::u32string::npos) b.extension = take(all.substr(dot + 1), 3);
    if (b.base.empty()) b.base = "_";
    return b;
}

ShortName packed(std::string_view base, std::string_view extension) {
    ShortName out;
    out.fill(' ');
    std::copy(base.begin(), base.end(), out.begin());
    std::copy(extension.begin(), extension.end(), out.begin() + 8);
    return out;
}

}  // namespace

Byte long_name_sum(const ShortName& name) {
    unsigned sum = 0;
    for (const Byte b : name) sum = (((sum & 1) ? 0x80u : 0u) + (sum >> 1) + b) & 0xFF;
    return static_cast<Byte>(sum);
}

std::string shown(const ShortName& name, Byte case_bits) {
    const auto part = [&](std::size_t from, std::size_t to, bool lower) {
        std::string out;
        while (to > from && name[to - 1] == ' ') --to;
        for (std::size_t i = from; i < to; ++i) {
            const Byte b = i == 0 && name[0] == 0x05 ? Byte{0xE5} : name[i];
            if (b >= 0x80)
                encode(out, unknown);
            else if (b == '/')
                out += "\\x2F";  // must not make a folder of it
            else
                out += lower && b >= 'A' && b <= 'Z' ? static_cast<char>(b + 32) : static_cast<char>(b);
        }
        return out;
    };
    std::string out = part(0, 8, case_bits & 0x08);
    if (out.empty()) out = "\\x20";  // all blanks: a name all the same
    const std::string extension = part(8, 11, case_bits & 0x10);
    return extension.empty() ? out : out + "." + extension;
}

std::optional<std::u16string> to_utf16(std::string_view utf8) {
    if (!is_utf8(utf8)) return std::nullopt;
    std::u16string out;
    for (const char32_t c : decode(utf8)) {
        if (c < 0x10000) {
            out.push_back(static_cast<char16_t>(c));
        } else {
            out.push_back(static_cast<char16_t>(0xD800 + ((c - 0x10000) >> 10)));
            out.push_back(static_cast<char16_t>(0xDC00 + ((c - 0x10000) & 0x3FF)));
        }
    }
    return out;
}

std::string to_utf8(std::u16string_view utf16, bool& damaged) {
    std::string out;
    for (std::size_t i = 0; i < utf16.size(); ++i) {
        const char32_t c = utf16[i];
        const bool high = c >= 0xD800 && c < 0xDC00;
        if (high && i + 1 < utf16.size() && utf16[i + 1] >= 0xDC00 && utf16[i + 1] < 0xE000) {
            encode(out, 0x10000 + ((c - 0xD800) << 10) + (utf16[++i] - 0xDC00u));
        } else if (c >= 0xD800 && c < 0xE000) {
            damaged = true;
            encode(out, unknown);
        } else {
            encode(out, c);
        }
    }
    return out;
}

std::string name_fault(std::string_view utf8) {
    if (utf8.empty()) return "is empty";
    if (utf8 == "." || utf8 == "..") return "means a folder, not a file";
    const auto wide = to_utf16(utf8);
    if (!wide) return "is not valid UTF-8";
    if (wide->size() > 255) return fmt::format("has {} characters, FAT takes 255", wide->size());
    for (const char16_t c : *wide)
        if (c < 0x20 || c == 0x7F ||
            (c < 0x80 && std::u16string_view(u"\"*/:<>?\\|").find(c) != std::u16string_view::npos))
            return fmt::format("holds the character '{}', which FAT does not take",
                               printable(std::string(1, static_cast<char>(c))));
    if (utf8.back() == '.') return "ends with a dot, which FAT drops";
    if (utf8.back() == ' ' || utf8.front() == ' ') return "begins or ends with a blank, which FAT drops";
    return {};
}

std::optional<ShortName> as_short_name(std::string_view utf8) {
    const std::size_t dot = utf8.rfind('.');
    const std::string_view base = utf8.substr(0, dot);
    const std::string_view extension = dot == std::string_view::npos ? std::string_view{} : utf8.substr(dot + 1);
    if (base.empty() || base.size() > 8 || extension.size() > 3) return std::nullopt;
    if (dot != std::string_view::npos && extension.empty()) return std::nullopt;
    const auto raise = [](std::string_view s, std::string& out) {
        for (const char c : s) {
            const char32_t up = ascii_upper(static_cast<unsigned char>(c));
            if (!short_name_character(up)) return false;
            out += static_cast<char>(up);
        }
        return true;
    };
    std::string b, e;
    if (!raise(base, b) || !raise(extension, e)) return std::nullopt;
    return packed(b, e);
}

Result<std::vector<ShortName>> short_names(const std::vector<std::string>& names) {
    std::vector<ShortName> out(names.size());
    std::vector<bool> done(names.size());
    std::set<ShortName> taken;
    for (std::size_t i = 0; i < names.size(); ++i) {
        const auto own = as_short_name(names[i]);
        if (!own || !taken.insert(*own).second) continue;
        out[i] = *own;
        done[i] = true;
    }
    std::map<std::string, unsigned> next;  // by six letters of the basis and the extension: first tail worth a try
    for (std::size_t i = 0; i < names.size(); ++i) {
        if (done[i]) continue;
        const Basis b = basis_of(names[i]);
        unsigned& n = next.try_emplace(b.base.substr(0, 6) + "." + b.extension, 1).first->second;
        for (;; ++n) {
            if (n > 999999)
                return bad_input("names-clash", printable(names[i]),
                                 "more than 999,999 names of one folder begin alike",
                                 "this release cannot be laid on FAT");
            const std::string tail = "~" + std::to_string(n);
            const ShortName s = packed(b.base.substr(0, 8 - tail.size()) + tail, b.extension);
            if (!taken.insert(s).second) continue;
            out[i] = s;
            ++n;
            break;
        }
    }
    return out;
}

bool needs_long_name(std::string_view utf8, const ShortName& name) {
    return utf8 != shown(name);
}

std::uint16_t fat_date(int year, int month, int day) {
    return static_cast<std::uint16_t>(((year - 1980) << 9) | (month << 5) | day);
}

std::string name_key(std::string_view utf8) {
    // Plain ASCII, the usual case, needs no tables.
    if (std::all_of(utf8.begin(), utf8.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; })) {
        std::string out(utf8);
        for (char& c : out) c = static_cast<char>(ascii_upper(static_cast<unsigned char>(c)));
        return out;
    }
    utf8proc_uint8_t* composed = nullptr;
    const auto n =
        utf8proc_map(reinterpret_cast<const utf8proc_uint8_t*>(utf8.data()), static_cast<utf8proc_ssize_t>(utf8.size()),
                     &composed, static_cast<utf8proc_option_t>(UTF8PROC_STABLE | UTF8PROC_COMPOSE));
    if (n < 0) return std::string(utf8);  // not UTF-8: only equal to itself
    const std::string nfc(reinterpret_cast<const char*>(composed), static_cast<std::size_t>(n));
    std::free(composed);
    std::string out;
    for (const char32_t c : decode(nfc))
        encode(out, static_cast<char32_t>(utf8proc_toupper(static_cast<utf8proc_int32_t>(c))));
    return out;
}

}  // namespace fettle::card
