// Which single value of an index is the release, and which names the family.
#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/contact/draft.h"

namespace fettle::contact {
namespace {

bool word_char(char c) {
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

// As a whole word within the text: "27.1.110" in "dunnock-27.1.110", not in "127.1.1105".
bool stands_in(std::string_view text, std::string_view word) {
    for (std::size_t at = text.find(word); at != std::string_view::npos; at = text.find(word, at + 1)) {
        const bool before = at == 0 || (!word_char(text[at - 1]) && text[at - 1] != '.');
        const std::size_t end = at + word.size();
        const bool after = end == text.size() || !word_char(text[end]);
        if (before && after) return true;
    }
    return false;
}

using Values = std::map<std::string, std::vector<std::string>>;  // address → its value in each package

// Single values that every package's best index has at the same address.
Values values_of(const std::vector<Study>& studies) {
    Values out;
    for (std::size_t i = 0; i < studies.size(); ++i) {
        if (studies[i].indexes.empty()) return {};
        for (const Scalar& s : studies[i].indexes.front().scalars) {
            auto& values = out[s.address];
            if (values.size() == i && !s.text.empty()) values.push_back(s.text);
        }
    }
    std::erase_if(out, [&](const auto& v) { return v.second.size() != studies.size(); });
    return out;
}

bool is_word(std::string_view s) {
    if (s.size() < 2 || s.size() > 40 || s[0] < 'a' || s[0] > 'z') return false;
    if (s == "true" || s == "false" || s == "yes" || s == "no" || s == "none" || s == "null") return false;
    return std::all_of(s.begin(), s.end(),
                       [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'; });
}

}  // namespace

std::optional<Told> release_told(const std::vector<Study>& studies) {
    std::vector<Told> by_name, by_change;
    for (const auto& [address, values] : values_of(studies)) {
        if (!std::all_of(values.begin(), values.end(), is_version)) continue;
        bool named = true, changed = values.size() > 1;
        for (std::size_t i = 0; i < values.size(); ++i) {
            named = named && stands_in(studies[i].name, values[i]);
            for (std::size_t k = 0; k < i; ++k) changed = changed && values[i] != values[k];
        }
        if (named) by_name.push_back({address, values.back(), "agrees with the name of the package"});
        if (changed)
            by_change.push_back({address, values.back(), "likely: the only version that is another in each package"});
    }
    // What a version view shows proves nothing here: the earliest release to install from may be the same.
    for (const auto* some : {&by_name, &by_change})
        if (some->size() == 1) return some->front();
    return std::nullopt;
}

std::optional<Told> family_told(const std::vector<Study>& studies) {
    if (studies.size() < 2) return std::nullopt;
    std::vector<Told> found;
    for (const auto& [address, values] : values_of(studies))
        if (is_word(values.front()) &&
            std::all_of(values.begin(), values.end(), [&](const auto& v) { return v == values.front(); }))
            found.push_back({address, values.front(),
                             fmt::format("the only word that is the same in all {} packages", studies.size())});
    if (found.size() != 1) return std::nullopt;
    return found.front();
}

}  // namespace fettle::contact
