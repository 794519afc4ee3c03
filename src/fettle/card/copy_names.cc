// Names that browsers and desktops make up by themselves. Common practice, no source.
#include <algorithm>
#include <cctype>

#include "fettle/base/text.h"
#include "fettle/card/audit_content.h"

namespace fettle::card {
namespace {

// Takes a final "(12)" or " (12)" or blank and number off; true if there was one.
bool drop_count(std::string_view& stem, bool in_brackets) {
    std::string_view s = stem;
    if (in_brackets) {
        if (!s.ends_with(')')) return false;
        s.remove_suffix(1);
    }
    const std::size_t digits_end = s.size();
    while (!s.empty() && s.back() >= '0' && s.back() <= '9') s.remove_suffix(1);
    const std::size_t digits = digits_end - s.size();
    if (digits == 0 || digits > 3) return false;
    if (in_brackets) {
        if (!s.ends_with('(')) return false;
        s.remove_suffix(1);
        if (s.ends_with(' ')) s.remove_suffix(1);
    } else {
        if (!s.ends_with(' ')) return false;
        s.remove_suffix(1);
    }
    if (s.empty()) return false;
    stem = s;
    return true;
}

bool drop_word(std::string_view& stem, std::string_view word) {
    if (stem.size() <= word.size() || !stem.ends_with(word)) return false;
    stem.remove_suffix(word.size());
    return true;
}

std::string plain_name(std::string_view name) {
    const std::size_t dot = name.rfind('.');
    const bool has_dot = dot != std::string_view::npos && dot != 0;
    std::string_view stem = name.substr(0, has_dot ? dot : name.size());
    const std::string_view extension = has_dot ? name.substr(dot) : std::string_view{};
    const std::string_view whole = stem;
    // "x (1)", "x(1)", "x - Copy", "x - Copy (2)", "x copy", "x copy 2", "Copy of x".
    drop_count(stem, true);
    if (!drop_word(stem, " - Copy") && !drop_word(stem, " copy")) {
        std::string_view counted = stem;
        if (drop_count(counted, false) && drop_word(counted, " copy")) stem = counted;
    }
    if (stem == whole && stem.starts_with("Copy of ") && stem.size() > 8) stem.remove_prefix(8);
    return std::string(stem) + std::string(extension);
}

}  // namespace

std::string without_copy_marks(std::string_view path) {
    std::vector<std::string> parts = split(path, '/');
    for (auto& p : parts) p = plain_name(p);
    return join(parts, "/");
}

bool is_unfinished_download(std::string_view name) {
    for (const std::string_view end : {".part", ".partial", ".crdownload", ".download"})
        if (name.size() > end.size() && name_key(name).ends_with(name_key(end))) return true;
    return false;
}

}  // namespace fettle::card
