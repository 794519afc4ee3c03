// The image computed beforehand: which cluster every folder and file gets, and every byte that is not a file's. Pure;
// lay.h streams it out.
//
// Order on the card: boot sectors, FATs, on FAT16 the root folder's area, on exFAT its bitmap and up-case table, all
// folders (the root first), then the files one after the other in the order given. Everything is contiguous, so the
// used clusters are one run from cluster 2 on.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/card/geometry.h"
#include "fettle/family/family.h"

namespace fettle::card {

struct FileToPlace {
    std::string path;
    std::uint64_t size = 0;
};

struct Layout {
    Geometry geometry;
    Bytes table;                             // sector 0
    Bytes boot;                              // the reserved sectors that hold anything, from the partition's start
    Bytes root_area;                         // FAT16: the root folder's own area, whole; else empty
    Bytes folders;                           // from cluster 2 on, whole clusters
    std::vector<std::uint32_t> first;        // per file: first cluster, 0 for an empty one
    std::vector<std::uint32_t> last_of_run;  // ascending: the last cluster of every chain that stands in the FAT
    std::uint32_t next_free = 2;             // first cluster not used

    std::uint64_t at(std::uint32_t cluster) const;     // bytes from the card's start
    std::uint64_t clusters_of(std::uint64_t n) const;  // clusters that n bytes take
};

// Errors as in lay.h: `name-not-layable`, `names-clash`, `path-too-long`, `file-too-large`, `folder-too-large`,
// `card-too-small`, `label-not-layable`, `release-digest-wrong`. card_number: of several cards of one release; it
// changes nothing but serial and disk signature.
Result<Layout> make_layout(const std::vector<FileToPlace>& files, const family::CardRule& rule,
                           const Geometry& geometry, std::string_view release_sha256, unsigned card_number = 1);

// The bytes of one FAT copy from this byte on (a multiple of 4); out.size() too.
void fill_fat(const Layout& layout, std::uint64_t from, ByteSpan out);

// The volume serial that a card of this release carries.
std::uint32_t volume_serial(ByteView release_digest, unsigned card_number);

}  // namespace fettle::card
