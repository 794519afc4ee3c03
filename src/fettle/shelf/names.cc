#include "fettle/shelf/names.h"

#include <fmt/core.h>
#include <utf8proc.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <memory>
#include <optional>
#include <set>
#include <unordered_map>

#include "fettle/base/text.h"

namespace fettle::shelf {
namespace {

// The file system's rules are the FAT specification's (long names: 255 UTF-16 units, no " * / : < > ? \ |, trailing
// dots and blanks dropped); the device names are common practice on desktop systems, from memory.
constexpr std::string_view forbidden = "\"*:<>?|";
// Linux opens no longer one (limits.h, PATH_MAX, with the ending zero), so neither could be laid.
constexpr std::size_t longest_path = 4095;

Reason fault(std::string_view code, std::string_view path, std::string text,
             std::string rests_on = "FAT specification") {
    return {std::string(code), Verdict::halt, std::move(text), printable(path), std::move(rests_on)};
}

// Nearly all names are; what is said of other characters need not be asked of them.
bool printable_ascii(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) { return c >= 0x20 && c < 0x7F; });
}

bool device_name(std::string_view part) {
    const std::string base = upper(trim(part.substr(0, part.find('.'))));
    static constexpr std::array<std::string_view, 4> plain = {"CON", "PRN", "AUX", "NUL"};
    if (std::find(plain.begin(), plain.end(), base) != plain.end()) return true;
    return base.size() == 4 && (base.starts_with("COM") || base.starts_with("LPT")) && base[3] >= '0' && base[3] <= '9';
}

// In UTF-16 units; nullopt for invalid UTF-8.
std::optional<std::size_t> units(std::string_view text) {
    if (printable_ascii(text)) return text.size();
    std::size_t n = 0;
    const auto* at = reinterpret_cast<const utf8proc_uint8_t*>(text.data());
    auto left = static_cast<utf8proc_ssize_t>(text.size());
    while (left > 0) {
        utf8proc_int32_t c = 0;
        const utf8proc_ssize_t used = utf8proc_iterate(at, left, &c);
        if (used <= 0) return std::nullopt;
        n += c > 0xFFFF ? 2 : 1;
        at += used;
        left -= used;
    }
    return n;
}

bool any_control(std::string_view text) {
    for (std::size_t i = 0; i < text.size(); ++i) {
        const auto c = static_cast<unsigned char>(text[i]);
        if (c < 0x20 || c == 0x7F) return true;
        if (c == 0xC2 && i + 1 < text.size() && static_cast<unsigned char>(text[i + 1]) < 0xA0) return true;  // C1
    }
    return false;
}

// Marks that turn the direction of a name make "nib.exe" of "exe.bin"; control characters have a finding of their own.
bool any_unseen(std::string_view text) {
    for (std::size_t i = 0; i < text.size();) {
        const std::size_t n = utf8_length(text.substr(i));
        if (n == 0) return false;  // not UTF-8: said elsewhere
        if (n > 1 && !any_control(text.substr(i, n)) && is_unseen(text.substr(i, n))) return true;
        i += n;
    }
    return false;
}

void check_characters(std::string_view path, std::vector<Reason>& out) {
    if (any_control(path)) out.push_back(fault("name-control", path, "holds a control character"));
    if (any_unseen(path))
        out.push_back(fault("name-unseen", path, "holds a character that is not seen or turns the text around it",
                            "the name itself"));
    if (!is_utf8(path)) out.push_back(fault("name-not-utf8", path, "is not UTF-8 text", "the name itself"));
}

void check_part(std::string_view part, std::string_view path, std::vector<Reason>& out) {
    if (part.empty()) {
        out.push_back(fault("name-empty-part", path, "a folder in the name has no name"));
        return;
    }
    if (part == "." || part == "..") {
        out.push_back(fault("name-parent", path,
                            "the name leads outside the package or back into it by \"" + std::string(part) + "\"",
                            "the name itself"));
        return;
    }
    if (part.back() == '.' || part.back() == ' ')
        out.push_back(fault("name-trailing", path, "ends in a dot or a blank, which FAT drops"));
    if (part.front() == ' ') out.push_back(fault("name-trailing", path, "begins with a blank, which FAT may drop"));
    if (part.find_first_of(forbidden) != std::string_view::npos)
        out.push_back(fault("name-character", path, "holds a character that FAT forbids: \" * : < > ? |"));
    if (device_name(part))
        out.push_back(fault("name-device", path, "is the name of a device on desktop systems", "common practice"));
    const auto length = units(part);
    if (length && *length > 255)
        out.push_back(fault("name-too-long", path, fmt::format("has a part of {} units; FAT takes 255", *length)));
}

}  // namespace

std::vector<Reason> check_path(std::string_view path) {
    std::vector<Reason> out;
    if (path.empty()) {
        out.push_back(fault("name-empty-part", path, "has no name at all"));
        return out;
    }
    if (path.size() > longest_path) {
        out.push_back(
            fault("name-too-long", fmt::format("{}…", path.substr(0, 60)),
                  fmt::format("is a path of {} bytes; no system opens more than {}", path.size(), longest_path),
                  "the name itself"));
        return out;
    }
    if (path.front() == '/') out.push_back(fault("name-absolute", path, "begins at the root", "the name itself"));
    if (path.find('\\') != std::string_view::npos)
        out.push_back(fault("name-backslash", path, "holds a backslash, which some readers take for a folder",
                            "the name itself"));
    const bool letter = (path[0] >= 'a' && path[0] <= 'z') || (path[0] >= 'A' && path[0] <= 'Z');
    if (path.size() > 1 && path[1] == ':' && letter)
        out.push_back(fault("name-drive", path, "begins with a drive letter", "the name itself"));
    if (!printable_ascii(path)) check_characters(path, out);
    const std::vector<std::string> parts = split(path.front() == '/' ? path.substr(1) : path, '/');
    for (const std::string& part : parts) check_part(part, path, out);
    return out;
}

std::string name_key(std::string_view name) {
    std::string_view kept = name;
    while (!kept.empty() && (kept.back() == '.' || kept.back() == ' ')) kept.remove_suffix(1);
    if (kept.empty()) kept = name;
    if (printable_ascii(kept)) return upper(kept);  // composed already
    utf8proc_uint8_t* composed = nullptr;
    const utf8proc_ssize_t size =
        utf8proc_map(reinterpret_cast<const utf8proc_uint8_t*>(kept.data()), static_cast<utf8proc_ssize_t>(kept.size()),
                     &composed, static_cast<utf8proc_option_t>(UTF8PROC_STABLE | UTF8PROC_COMPOSE));
    if (size < 0) return std::string(kept);
    const std::unique_ptr<utf8proc_uint8_t, decltype(&std::free)> owner(composed, &std::free);
    std::string key;
    for (utf8proc_ssize_t at = 0; at < size;) {
        utf8proc_int32_t c = 0;
        const utf8proc_ssize_t used = utf8proc_iterate(composed + at, size - at, &c);
        if (used <= 0) break;
        at += used;
        // utf8proc makes U+1E9E of sharp s; exFAT's own table leaves it alone.
        const utf8proc_int32_t upper = c == 0xDF ? c : utf8proc_toupper(c);
        utf8proc_uint8_t bytes[4];
        key.append(reinterpret_cast<const char*>(bytes), static_cast<std::size_t>(utf8proc_encode_char(upper, bytes)));
    }
    return key;
}

namespace {

// The names met so far, folder by folder: most files stand in a folder that has been looked at.
class Spellings {
public:
    // The path's key; nullopt when it or a folder of it is to a FAT reader what something else is already. The first
    // time that this is met, it is put into `clash` with the other spelling.
    std::optional<std::string> meet(const std::string& path,
                                    std::optional<std::pair<std::string, std::string>>& clash) {
        const std::size_t slash = path.rfind('/');
        std::string key;
        if (slash != std::string::npos) {
            const std::string folder = path.substr(0, slash);
            auto known = folders_.find(folder);
            if (known == folders_.end()) known = folders_.emplace(folder, meet(folder, clash)).first;
            if (!known->second) return std::nullopt;
            key = *known->second;
        }
        key += "/" + name_key(std::string_view(path).substr(slash == std::string::npos ? 0 : slash + 1));
        const auto [at, fresh] = spelled_.emplace(key, path);
        if (fresh || at->second == path) return key;
        clash = {path, at->second};
        return std::nullopt;
    }

private:
    std::unordered_map<std::string, std::optional<std::string>> folders_;  // path → key
    std::unordered_map<std::string, std::string> spelled_;                 // key → first spelling
};

}  // namespace

std::vector<Reason> check_clashes(const std::vector<std::string>& paths) {
    std::vector<Reason> out;
    std::set<std::string> said;  // one finding for a folder, not one for each file in it
    Spellings spellings;
    for (const std::string& path : paths) {
        if (path.size() > longest_path) continue;  // a finding of check_path(), and endless folders
        std::optional<std::pair<std::string, std::string>> clash;
        spellings.meet(path, clash);
        if (clash && said.insert(clash->first).second)
            out.push_back(fault("names-clash", path,
                                fmt::format("\"{}\" is the same name as \"{}\" to a FAT reader",
                                            printable(clash->first), printable(clash->second))));
    }
    return out;
}

}  // namespace fettle::shelf
