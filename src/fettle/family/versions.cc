// Orders of versions. Numbers are compared as digit strings, so that none is too long.
#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/family.h"

namespace fettle::family {
namespace {

constexpr std::string_view digits = "0123456789";

bool is_digits(std::string_view s) {
    return !s.empty() && s.find_first_not_of(digits) == std::string_view::npos;
}

int sign(int v) {
    return v < 0 ? -1 : v > 0 ? 1 : 0;
}

// Digit strings as numbers; empty counts as zero.
int compare_digits(std::string_view a, std::string_view b) {
    a.remove_prefix(std::min(a.find_first_not_of('0'), a.size()));
    b.remove_prefix(std::min(b.find_first_not_of('0'), b.size()));
    if (a.size() != b.size()) return a.size() < b.size() ? -1 : 1;
    return sign(a.compare(b));
}

// --- numeric: 27.3.118; where one is the beginning of the other, the shorter is older ---

std::optional<std::vector<std::string>> numeric_fields(std::string_view v) {
    auto out = split(v, '.');
    if (!std::all_of(out.begin(), out.end(), [](const std::string& s) { return is_digits(s); })) return std::nullopt;
    return out;
}

std::optional<int> compare_numeric(std::string_view a, std::string_view b) {
    const auto x = numeric_fields(a), y = numeric_fields(b);
    if (!x || !y) return std::nullopt;
    for (std::size_t i = 0; i < std::min(x->size(), y->size()); ++i)
        if (const int c = compare_digits((*x)[i], (*y)[i])) return c;
    return x->size() == y->size() ? 0 : x->size() < y->size() ? -1 : 1;
}

// --- Semantic Versioning 2.0.0, clauses 2, 9, 10, 11 ---

struct Semver {
    std::vector<std::string> core;     // three numbers
    std::vector<std::string> earlier;  // identifiers of the pre-release part; empty: none
};

bool is_number_without_leading_zero(std::string_view s) {
    return is_digits(s) && (s.size() == 1 || s[0] != '0');
}

bool is_identifier(std::string_view s) {
    return !s.empty() && std::all_of(s.begin(), s.end(), [](char c) {
        return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || c == '-';
    });
}

std::optional<Semver> semver(std::string_view v) {
    if (const auto plus = v.find('+'); plus != std::string_view::npos) {
        for (const std::string& id : split(v.substr(plus + 1), '.'))
            if (!is_identifier(id)) return std::nullopt;
        v = v.substr(0, plus);
    }
    Semver out;
    if (const auto dash = v.find('-'); dash != std::string_view::npos) {
        out.earlier = split(v.substr(dash + 1), '.');
        for (const std::string& id : out.earlier)
            if (!is_identifier(id) || (is_digits(id) && !is_number_without_leading_zero(id))) return std::nullopt;
        v = v.substr(0, dash);
    }
    out.core = split(v, '.');
    if (out.core.size() != 3 || !std::all_of(out.core.begin(), out.core.end(),
                                             [](const std::string& s) { return is_number_without_leading_zero(s); }))
        return std::nullopt;
    return out;
}

int compare_identifiers(const std::string& a, const std::string& b) {
    const bool x = is_digits(a), y = is_digits(b);
    if (x && y) return compare_digits(a, b);
    if (x != y) return x ? -1 : 1;  // numbers are below words
    return sign(a.compare(b));
}

std::optional<int> compare_semver(std::string_view a, std::string_view b) {
    const auto x = semver(a), y = semver(b);
    if (!x || !y) return std::nullopt;
    for (std::size_t i = 0; i < 3; ++i)
        if (const int c = compare_digits(x->core[i], y->core[i])) return c;
    if (x->earlier.empty() != y->earlier.empty()) return x->earlier.empty() ? 1 : -1;
    const std::size_t both = std::min(x->earlier.size(), y->earlier.size());
    for (std::size_t i = 0; i < both; ++i)
        if (const int c = compare_identifiers(x->earlier[i], y->earlier[i])) return c;
    return x->earlier.size() == y->earlier.size() ? 0 : x->earlier.size() < y->earlier.size() ? -1 : 1;
}

// --- Debian Policy 5.6.12: [epoch:]upstream[-revision] ---

struct DebianVersion {
    std::string_view epoch, upstream, revision;
};

std::optional<DebianVersion> debian(std::string_view v) {
    DebianVersion out;
    if (const auto colon = v.find(':'); colon != std::string_view::npos) {
        out.epoch = v.substr(0, colon);
        if (!is_digits(out.epoch)) return std::nullopt;
        v = v.substr(colon + 1);
    }
    if (const auto dash = v.rfind('-'); dash != std::string_view::npos) {
        out.revision = v.substr(dash + 1);
        v = v.substr(0, dash);
        if (out.revision.empty()) return std::nullopt;
    }
    out.upstream = v;
    if (v.empty() || v[0] < '0' || v[0] > '9') return std::nullopt;
    const auto allowed = [](char c, std::string_view others) {
        return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
               others.find(c) != std::string_view::npos;
    };
    for (const char c : out.upstream)
        if (!allowed(c, ".+-:~")) return std::nullopt;
    for (const char c : out.revision)
        if (!allowed(c, ".+~")) return std::nullopt;
    return out;
}

// "~" before the end, the end before letters, letters before all else.
int weight(std::string_view s, std::size_t i) {
    if (i >= s.size()) return 0;
    const auto c = static_cast<unsigned char>(s[i]);
    if (c == '~') return -1;
    const bool letter = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
    return letter ? c : c + 256;
}

// Parts without and with digits in turn.
int compare_debian_part(std::string_view a, std::string_view b) {
    while (!a.empty() || !b.empty()) {
        const auto words_a = std::min(a.find_first_of(digits), a.size());
        const auto words_b = std::min(b.find_first_of(digits), b.size());
        const std::string_view x = a.substr(0, words_a), y = b.substr(0, words_b);
        for (std::size_t i = 0; i < std::max(x.size(), y.size()); ++i)
            if (weight(x, i) != weight(y, i)) return weight(x, i) < weight(y, i) ? -1 : 1;
        a.remove_prefix(words_a);
        b.remove_prefix(words_b);
        const auto number_a = std::min(a.find_first_not_of(digits), a.size());
        const auto number_b = std::min(b.find_first_not_of(digits), b.size());
        if (const int c = compare_digits(a.substr(0, number_a), b.substr(0, number_b))) return c;
        a.remove_prefix(number_a);
        b.remove_prefix(number_b);
    }
    return 0;
}

std::optional<int> compare_debian(std::string_view a, std::string_view b) {
    const auto x = debian(a), y = debian(b);
    if (!x || !y) return std::nullopt;
    if (const int c = compare_digits(x->epoch, y->epoch)) return c;
    if (const int c = compare_debian_part(x->upstream, y->upstream)) return c;
    return compare_debian_part(x->revision, y->revision);
}

std::optional<int> compare_listed(const std::vector<std::string>& list, std::string_view a, std::string_view b) {
    const auto x = std::find(list.begin(), list.end(), a), y = std::find(list.begin(), list.end(), b);
    if (x == list.end() || y == list.end()) return std::nullopt;
    return x == y ? 0 : x < y ? -1 : 1;
}

}  // namespace

std::optional<int> compare_versions(const VersionOrder& order, std::string_view a, std::string_view b) {
    if (order.rule == "numeric") return compare_numeric(a, b);
    if (order.rule == "semver") return compare_semver(a, b);
    if (order.rule == "debian") return compare_debian(a, b);
    if (order.rule == "list") return compare_listed(order.list, a, b);
    return std::nullopt;
}

std::optional<std::string> version_field(const VersionOrder& order, std::string_view version, std::string_view field) {
    const auto at = std::find(order.fields.begin(), order.fields.end(), field);
    if (at == order.fields.end()) return std::nullopt;
    std::vector<std::string> parts;
    if (order.rule == "semver") {
        if (const auto v = semver(version)) parts = v->core;
    } else if (const auto v = numeric_fields(version)) {
        parts = *v;
    }
    const auto i = static_cast<std::size_t>(at - order.fields.begin());
    if (i >= parts.size()) return std::nullopt;
    return parts[i];
}

std::optional<std::int64_t> version_number(const VersionOrder& order, std::string_view version,
                                           std::string_view field) {
    const auto text = version_field(order, version, field);
    return text ? number_in<std::int64_t>(*text) : std::nullopt;
}

}  // namespace fettle::family
