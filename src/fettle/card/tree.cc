// The folders that the files' paths make, and whether FAT and exFAT take all names.
#include <fmt/core.h>

#include <unordered_map>

#include "fettle/base/text.h"
#include "fettle/card/layout_parts.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t fat_largest_file = 0xFFFFFFFF;

Status check_path(const FileToPlace& f, const family::CardRule& rule, FatType type) {
    const std::string place = printable(f.path);
    for (const auto& part : split(f.path, '/'))
        if (const std::string fault = name_fault(part); !fault.empty())
            return bad_input("name-not-layable", place, fmt::format("the name '{}' {}", printable(part), fault),
                             "a release with this name cannot be laid on FAT; ask its source");
    const std::size_t length = to_utf16(f.path)->size();
    const std::size_t most = std::min<std::size_t>(rule.longest_path, 259);  // specification 1.03: 260 with the final 0
    if (length > most)
        return bad_input("path-too-long", place, fmt::format("has {} characters, {} are taken", length, most),
                         "this release cannot be laid for this family");
    const std::uint64_t largest =
        type == FatType::exfat ? rule.largest_file : std::min(rule.largest_file, fat_largest_file);
    if (f.size > largest)
        return bad_input("file-too-large", place,
                         fmt::format("has {} bytes; the largest file that is taken has {}", f.size, largest),
                         "this release cannot be laid on this file system");
    return {};
}

}  // namespace

Result<Tree> grow_tree(const std::vector<FileToPlace>& files, const family::CardRule& rule, FatType type) {
    struct Met {
        std::size_t index = 0;  // of the folder or the file
        bool folder = false;
        std::string name;
        std::size_t by = 0;  // the file whose path put it there
    };
    Tree t;
    std::unordered_map<std::string, Met> met;  // by the folder's index and the name's key
    for (std::size_t i = 0; i < files.size(); ++i) {
        if (Status s = check_path(files[i], rule, type); !s) return pass(s);
        const auto parts = split(files[i].path, '/');
        std::size_t at = 0;
        for (std::size_t k = 0; k < parts.size(); ++k) {
            const bool folder = k + 1 < parts.size();
            const std::size_t index = folder ? t.folders.size() : i;
            const auto [it, is_new] =
                met.try_emplace(std::to_string(at) + "/" + name_key(parts[k]), Met{index, folder, parts[k], i});
            if (is_new) {
                t.folders[at].items.push_back({parts[k], index, folder});
                if (folder) t.folders.emplace_back().parent = at;
            } else if (!folder || !it->second.folder || it->second.name != parts[k]) {
                return bad_input("names-clash", printable(files[i].path),
                                 fmt::format("stands against '{}': FAT takes both for one name",
                                             printable(files[it->second.by].path)),
                                 "this release cannot be laid on FAT; ask its source");
            }
            at = it->second.index;
        }
    }
    return t;
}

Status Clusters::fits() const {
    if (next <= geometry.clusters + 2) return {};
    return bad_input("card-too-small", "card size",
                     fmt::format("the release needs {} clusters of {} bytes, this card has {}", next - 2,
                                 geometry.cluster_bytes(), geometry.clusters),
                     "take a larger card");
}

}  // namespace fettle::card
