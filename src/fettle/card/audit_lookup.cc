#include <algorithm>
#include <functional>

#include "fettle/card/audit_content.h"

namespace fettle::card {
namespace {

constexpr std::size_t most_namesakes = 500;  // of hostile cards; a release has a few

std::size_t hash_of(const std::string& key) {
    return std::hash<std::string>()(key);
}

}  // namespace

std::string last_part(std::string_view path) {
    return std::string(path.substr(path.rfind('/') + 1));  // npos + 1 is 0
}

Lookup::Lookup(const Listing& listing) : listing_(listing) {
    by_name_.reserve(listing.nodes.size());
    by_path_.reserve(listing.nodes.size());
    for (std::size_t i = 0; i < listing.nodes.size(); ++i) {
        const std::string key = name_key(listing.nodes[i].path);
        by_name_.emplace_back(hash_of(last_part(key)), static_cast<std::uint32_t>(i));
        by_path_.emplace_back(hash_of(key), static_cast<std::uint32_t>(i));
    }
    std::sort(by_name_.begin(), by_name_.end());
    std::sort(by_path_.begin(), by_path_.end());
}

const Node* Lookup::at(const std::string& path) const {
    const std::string key = name_key(path);
    const std::size_t hash = hash_of(key);
    for (auto it = std::lower_bound(by_path_.begin(), by_path_.end(), std::pair{hash, 0u});
         it != by_path_.end() && it->first == hash; ++it)
        if (name_key(listing_.nodes[it->second].path) == key) return &listing_.nodes[it->second];
    return nullptr;
}

std::vector<const Node*> Lookup::namesakes(const std::string& path) const {
    std::vector<const Node*> out;
    const std::string key = last_part(name_key(path));
    const std::size_t hash = hash_of(key);
    for (auto it = std::lower_bound(by_name_.begin(), by_name_.end(), std::pair{hash, 0u});
         it != by_name_.end() && it->first == hash && out.size() < most_namesakes; ++it) {
        const Node& n = listing_.nodes[it->second];
        if (!n.folder && last_part(name_key(n.path)) == key) out.push_back(&n);
    }
    return out;
}

std::vector<std::string> Lookup::prefixes(const std::string& path) const {
    std::vector<std::string> out;
    const std::string key = name_key(path);
    for (const Node* n : namesakes(path)) {
        const std::string whole = name_key(n->path);
        if (!whole.ends_with(key)) continue;
        const std::string prefix = whole.substr(0, whole.size() - key.size());
        if (prefix.empty() || prefix.back() == '/') out.push_back(prefix);
    }
    return out;
}

}  // namespace fettle::card
