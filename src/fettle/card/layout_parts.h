// Parts of the layout that FAT and exFAT share, and what each does by itself.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "fettle/card/fat_names.h"
#include "fettle/card/layout.h"

namespace fettle::card {

struct TreeItem {
    std::string name;
    std::size_t index = 0;  // of the folder or of the file
    bool folder = false;
};

struct TreeFolder {
    std::vector<TreeItem> items;  // in the order first met
    std::size_t parent = 0;
    std::uint32_t first = 0;     // cluster; 0: FAT16's root
    std::uint64_t clusters = 0;  // that it takes
};

struct Tree {
    std::vector<TreeFolder> folders{1};  // the root first
};

// Names, paths and sizes checked; folders in the order in which the files' paths meet them.
Result<Tree> grow_tree(const std::vector<FileToPlace>& files, const family::CardRule& rule, FatType type);

// Hands out clusters one after the other.
struct Clusters {
    const Geometry& geometry;
    std::uint64_t next = 2;

    // The first of n clusters, which may lie beyond the volume's end: ask fits() when all are handed out.
    std::uint32_t take(std::uint64_t n) {
        const auto first = static_cast<std::uint32_t>(std::min<std::uint64_t>(next, 0xFFFFFFFF));
        next += n;
        return first;
    }
    Status fits() const;  // card-too-small
};

// Fill boot, root_area, folders, first, last_of_run and next_free. `serial` is the volume's.
Status lay_out_fat(Layout& layout, Tree& tree, const std::vector<FileToPlace>& files, const std::string& label,
                   std::uint32_t serial);
Status lay_out_exfat(Layout& layout, Tree& tree, const std::vector<FileToPlace>& files, const std::string& label,
                     std::uint32_t serial);

}  // namespace fettle::card
