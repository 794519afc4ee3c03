// What differs between two releases. Files are matched as pieces: the same box, the same name, the same place among its
// files; a path may carry the release's number.
#include <array>
#include <tuple>

#include "fettle/shelf/shelf_state.h"

namespace fettle::shelf {
namespace {

using Key = std::tuple<std::string, std::string, std::size_t>;  // box, piece, which file by number

struct Side {
    std::string path;
    std::uint64_t size = 0;
    std::map<std::string, std::string> digests;
};

// The index and its signature under their own paths, as pieces without a box.
std::map<Key, Side> sides(const Shelved& s, const std::vector<CataloguedFile>& files) {
    std::map<std::string, const CataloguedFile*> kept;
    for (const CataloguedFile& f : files) kept[f.path] = &f;
    std::map<Key, Side> out;
    for (const family::Piece& p : s.release.pieces)
        for (std::size_t i = 0; i < p.files.size(); ++i) {
            Side side{p.files[i].path, p.files[i].size, p.files[i].digests};
            if (const auto at = kept.find(side.path); at != kept.end()) side.digests["sha256"] = at->second->sha256;
            out[{p.box, p.name, i}] = std::move(side);
        }
    std::set<std::string> listed;
    for (const auto& [key, side] : out) listed.insert(side.path);
    for (const CataloguedFile& f : files)
        if (!listed.contains(f.path)) out[{"", f.path, 0}] = {f.path, f.size, {{"sha256", f.sha256}}};
    return out;
}

Difference differ(const Side& a, const Side& b) {
    if (a.size != b.size) return Difference::changed;
    for (const char* strong_first : {"sha512", "sha256", "sha1", "md5", "crc32"}) {
        const auto x = a.digests.find(strong_first), y = b.digests.find(strong_first);
        if (x != a.digests.end() && y != b.digests.end())
            return x->second == y->second ? Difference::equal : Difference::changed;
    }
    return Difference::unknown;
}

}  // namespace

std::string_view words(Difference d) {
    static constexpr std::array<std::string_view, 5> all = {"added", "changed", "gone", "equal", "can't say"};
    return all.at(static_cast<std::size_t>(d));
}

Result<Compared> Shelf::compare(std::string_view family, std::string_view before, std::string_view after) const {
    std::array<std::map<Key, Side>, 2> two;
    std::size_t i = 0;
    for (const std::string_view name : {before, after}) {
        auto shelved = find(family, name);
        if (!shelved) return pass(shelved);
        auto known = state_->catalogue->known(shelved->family, shelved->release.release);
        if (!known) return pass(known);
        two[i++] = sides(*shelved, *known ? (*known)->files : std::vector<CataloguedFile>());
    }
    Compared out;
    for (const auto& [key, a] : two[0]) {
        const auto there = two[1].find(key);
        Compared::File f{Difference::gone,
                         std::get<0>(key),
                         std::get<0>(key).empty() ? "" : std::get<1>(key),
                         a.path,
                         "",
                         a.size,
                         0};
        if (there != two[1].end()) {
            f.difference = differ(a, there->second);
            f.after = there->second.path;
            f.bytes_after = there->second.size;
        }
        out.files.push_back(std::move(f));
    }
    for (const auto& [key, b] : two[1])
        if (!two[0].contains(key))
            out.files.push_back({Difference::added, std::get<0>(key), std::get<0>(key).empty() ? "" : std::get<1>(key),
                                 "", b.path, 0, b.size});
    return out;
}

}  // namespace fettle::shelf
