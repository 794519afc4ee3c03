// The card map: one card as a strip from its first byte to its last. What stands where: table, boot sectors, FATs,
// folders, files, free, lost, and spots of trouble. Text for a terminal and SVG for paper, from the same stretches.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/card/block_device.h"

namespace fettle::card {

// In the order of what is shown where several share one mark of the picture: the last one wins.
enum class Ground { outside, free, other, lost, file, folder, fat, boot, table, trouble };
std::string_view words(Ground g);  // "table", "boot sectors", "FATs", …; for programs too (one word where possible)

struct Spot {
    std::uint64_t at = 0;  // bytes from the card's start
    std::uint64_t length = 0;
    Ground ground = Ground::outside;
    std::string name;        // file or folder: its path, printable; trouble: what is wrong; other: the file system
    std::size_t number = 0;  // file: which one, in the order met, so that neighbours can be told apart
};

struct CardMap {
    std::uint64_t card_bytes = 0;
    std::vector<Spot> spots;    // ascending, without gaps or overlaps, from 0 to card_bytes
    std::uint64_t used_to = 0;  // end of the last spot before the card's far end that holds something
    std::string table;          // "mbr", "gpt", "none"
    std::string file_system;    // of the volume drawn; empty: none
    std::string label;
    std::uint64_t files = 0;
    std::uint64_t stretches = 0;         // that the files lie in; as many as files that hold something: all contiguous
    std::vector<std::string> not_drawn;  // what this map leaves out, and why
};

// Reads only. The device's own error when its first sector cannot be read; everything else is drawn as far as it can
// be read.
Result<CardMap> map_card(BlockDevice& device);

struct MapStyle {
    std::size_t width = 80;  // columns, at least 40
    bool ascii = false;
};
// Lines without line ends: the whole card, the used part on a larger scale, legend, trouble spots.
std::vector<std::string> map_text(const CardMap& map, const MapStyle& style = {});

// The same as one self-contained SVG element; readable in grey; no scripts, no fonts to fetch. `title`: above it.
std::string map_svg(const CardMap& map, std::string_view title);

// --- for both pictures -----------------------------------------------------------------------------------------------

// [from, to) cut into `columns` equal parts: what wins in each.
std::vector<const Spot*> columns_of(const CardMap& map, std::uint64_t from, std::uint64_t to, std::size_t columns);
// Where the picture of the used part ends: used_to and a little more, at most the card's end.
std::uint64_t zoom_end(const CardMap& map);
std::string place_of(std::uint64_t bytes);  // "12.3 MiB", "8.00 GiB"

}  // namespace fettle::card
