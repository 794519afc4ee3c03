// Laying: files become one deterministic card image, written in one sequential pass and read back.
//
// The image is computed beforehand from the files' names, sizes and order, the family's card rule and the geometry:
// the same input gives the same bytes. Sector 0 is written last, after everything else was synced, so that a card
// broken off in the middle is never taken for a good one. Memory stays bounded whatever the files' size.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/card/block_device.h"
#include "fettle/card/geometry.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::card {

// Takes the next bytes; an error it returns must be passed on at once by whoever calls it.
using Sink = std::function<Status(ByteView)>;

// bytes done, bytes in all; called often, from the thread that called the work.
using Progress = std::function<void(std::uint64_t, std::uint64_t)>;

// One file to lay. `send` gives its bytes to the sink from start to end, in blocks of any size, exactly once; it is
// called from a thread of this room's choosing, one file after the other in the order of the list.
struct SourceFile {
    std::string path;  // on the card: UTF-8, '/' between folders, no leading '/'
    std::uint64_t size = 0;
    std::string sha256;  // lower-case hex; empty: nothing to hold it against (the laid digest is still reported)
    std::function<Status(const Sink&)> send;
};

// A SourceFile whose bytes come from a plain file.
SourceFile source_from_file(std::string card_path, const std::filesystem::path& file, std::uint64_t size,
                            std::string sha256);

struct Extent {
    std::uint64_t at = 0;      // bytes from the card's start
    std::uint64_t length = 0;  // bytes
    bool operator==(const Extent&) const = default;
};

struct LaidFile {
    std::string path;
    Extent extent;  // contiguous; length is the file's size. An empty file has no place: at == 0
    std::string sha256;
};

struct Laid {
    Geometry geometry;
    std::vector<Extent> extents;  // what was laid, ascending; everything else on the card is not part of the image
    std::string digest;           // SHA-256, hex, over the extents in that order; `dd | sha256sum` repeats it
    std::vector<LaidFile> files;  // in the order given
    std::uint64_t bytes = 0;      // in all extents
    bool cold = false;            // read back past the system's memory, or after it held nothing
};

// Lays onto a device of exactly geometry.card_sectors. release_sha256 (hex) and card_number (of several cards of one
// release) give the volume serial and the disk signature. Errors: bad_input `name-not-layable`, `names-clash`,
// `path-too-long`, `file-too-large`, `card-too-small`, `source-differs` (a file is not what its digest or size said);
// outside: the device's or the source's own errors, `read-back-differs`. After any error the card has no partition
// table or was never begun.
Result<Laid> lay(const std::vector<SourceFile>& files, const family::CardRule& rule, const Geometry& geometry,
                 std::string_view release_sha256, BlockDevice& target, const Progress& progress = {},
                 unsigned card_number = 1);

// Lays into a new image file: written beside it under a temporary name, put in place only when read back whole; on any
// error nothing is left. size_bytes 0: image_bytes_for. Refuses a device, a folder, and a path that holds something
// already (`image-exists`), except a plain file when `replace` is set.
Result<Laid> lay_image(const std::vector<SourceFile>& files, const family::CardRule& rule, std::uint64_t size_bytes,
                       std::string_view release_sha256, const std::filesystem::path& image, bool replace,
                       const Progress& progress = {}, unsigned card_number = 1);

// The smallest power of two that the family takes, that makes a FAT32 volume under its cluster sizes, and that holds
// the files with their folders and an eighth to spare.
Result<std::uint64_t> image_bytes_for(const std::vector<SourceFile>& files, const family::CardRule& rule);

// What stands before every path of the package on the card: index_at without the package's own index path, e.g. ""
// for "release.json" in both, "update/" for "update/release.json".
std::string card_prefix(const family::Family& family);

}  // namespace fettle::card
