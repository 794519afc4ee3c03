#include "fettle/contact/evidence.h"

#include <algorithm>
#include <array>

#include "fettle/family/digest_form.h"

namespace fettle::contact {
namespace {

std::string_view last_part(std::string_view path) {
    const std::size_t slash = path.rfind('/');
    return slash == std::string_view::npos ? path : path.substr(slash + 1);
}

struct Kind {
    const char* algorithm;
    std::size_t bytes;
};
constexpr std::array<Kind, 5> kinds = {{{"crc32", 4}, {"md5", 16}, {"sha1", 20}, {"sha256", 32}, {"sha512", 64}}};

}  // namespace

const char* words(Via v) {
    switch (v) {
        case Via::path: return "the path in the package";
        case Via::beside: return "the path seen from the index's own folder";
        case Via::end: return "the end of one path";
        case Via::address: return "an address with \"file:\" before the path";
        case Via::last_part: return "its last part is the name of one file";
    }
    return "";
}

Names::Names(const std::vector<shelf::Member>& members) : members_(members) {
    for (std::size_t i = 0; i < members.size(); ++i) {
        if (members[i].kind != shelf::MemberKind::file) continue;
        paths_.emplace(members[i].path, i);
        last_parts_[std::string(last_part(members[i].path))].push_back(i);
    }
}

std::optional<Found> Names::find(std::string_view value, std::string_view index) const {
    if (!value.starts_with("file:")) return plain(value, index);
    auto behind = plain(value.substr(5), index);
    if (behind) behind->via = Via::address;
    return behind;
}

std::optional<Found> Names::plain(std::string_view value, std::string_view index) const {
    while (value.starts_with("./")) value.remove_prefix(2);
    while (value.starts_with('/')) value.remove_prefix(1);
    if (value.empty() || value.size() > 4096) return std::nullopt;
    if (const auto at = paths_.find(value); at != paths_.end()) return Found{at->second, Via::path};
    const std::size_t slash = index.rfind('/');
    if (slash != std::string_view::npos) {
        const std::string beside = std::string(index.substr(0, slash + 1)) + std::string(value);
        if (const auto at = paths_.find(beside); at != paths_.end()) return Found{at->second, Via::beside};
    }
    const auto at = last_parts_.find(last_part(value));
    if (at == last_parts_.end()) return std::nullopt;
    std::optional<std::size_t> ends;
    for (const std::size_t i : at->second) {
        const std::string& path = members_[i].path;
        if (path.size() <= value.size() || !path.ends_with(value) || path[path.size() - value.size() - 1] != '/')
            continue;
        if (ends) return std::nullopt;
        ends = i;
    }
    if (ends) return Found{*ends, Via::end};
    // A bare word that happens to be some file's last part proves nothing; a longer path does.
    if (value.find('/') == std::string_view::npos || at->second.size() != 1) return std::nullopt;
    return Found{at->second.front(), Via::last_part};
}

bool Names::is_name(std::string_view word) const {
    if (word.starts_with("file:")) word.remove_prefix(5);
    while (word.starts_with("./")) word.remove_prefix(2);
    return paths_.contains(word) || last_parts_.contains(last_part(word));
}

std::optional<DigestText> digest_text(std::string_view value) {
    for (const char* prefix : {"sha512", "sha256", "sha1", "md5", "crc32"})
        if (const std::string_view p = prefix;
            value.starts_with(p) && value.size() > p.size() &&
            std::string_view("-=:").find(value[p.size()]) != std::string_view::npos) {
            value.remove_prefix(p.size() + 1);
            break;
        }
    if (value.size() < 6 || value.size() > 128) return std::nullopt;
    for (const Kind& k : kinds)
        if (value.size() == 2 * k.bytes)
            if (auto bytes = unhex(value)) return DigestText{k.algorithm, "hex", std::move(*bytes)};
    for (const Kind& k : kinds)
        if (value.size() == (k.bytes * 4 + 2) / 3 || value.size() == (k.bytes + 2) / 3 * 4)
            if (auto bytes = family::unbase64(value); bytes && bytes->size() == k.bytes)
                return DigestText{k.algorithm, "base64", std::move(*bytes)};
    return std::nullopt;
}

bool is_size(std::string_view value, std::uint64_t size) {
    return value == std::to_string(size);
}

bool is_version(std::string_view v) {
    if (v.starts_with('v')) v.remove_prefix(1);
    if (v.empty() || v.size() > 60 || v[0] < '0' || v[0] > '9') return false;
    const auto allowed = [](char c) {
        return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
               std::string_view(".+~:-_").find(c) != std::string_view::npos;
    };
    if (!std::all_of(v.begin(), v.end(), allowed)) return false;
    for (std::size_t i = 1; i + 1 < v.size(); ++i)
        if (v[i] == '.' && v[i - 1] >= '0' && v[i - 1] <= '9' && v[i + 1] >= '0' && v[i + 1] <= '9') return true;
    return false;
}

}  // namespace fettle::contact
