// What an open shelf holds, for the files that make up its class.
#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "fettle/base/half_done.h"
#include "fettle/shelf/catalogue.h"
#include "fettle/shelf/locks.h"
#include "fettle/shelf/packs.h"
#include "fettle/shelf/read_ahead.h"
#include "fettle/shelf/shelf.h"
#include "fettle/shelf/staging.h"

namespace fettle::shelf {

// A release's files with all that is needed to read them.
struct Reading {
    std::string family, release;
    bool index_only = false;
    std::vector<CataloguedFile> files;                          // in the order of the card
    std::map<std::string, std::size_t, std::less<>> place;      // path → files
    std::map<std::string, std::vector<std::int64_t>> parts_of;  // SHA-256 → parts in order
    Parts parts;
    std::unique_ptr<ReadAhead> ahead;
    std::size_t next = 0;  // the file that comes after the one read last
};

struct Shelf::State {
    std::filesystem::path folder;
    Disk& disk;
    FileLock use;  // shared
    std::optional<Catalogue> catalogue;
    std::unique_ptr<PackReader> reader;
    std::vector<std::filesystem::path>
        made;  // folders this opening made, the deepest first; empty: the shelf was there
    // As long as `made` holds folders: what becomes of them when somebody ends the program.
    std::optional<HalfDone> for_nothing;
    // The release whose files were asked for last: a card is laid from thousands of reads of one release.
    std::unique_ptr<Reading> last;

    ~State();
    Store store() { return {folder, disk, *catalogue}; }
};

// What a release holds, found by name; errors as Shelf::find.
Result<std::unique_ptr<Reading>> reading_of(Catalogue& catalogue, std::string_view family, std::string_view release);
Result<Outline> find_outline(Catalogue& catalogue, std::string_view family, std::string_view release);

// Calls work(i, bench) for 0 … n-1 from two threads (two cores are normal, and memory stays bounded);
// stops at the first error.
Status in_parallel(std::size_t n, const std::function<Status(std::size_t, Bench&)>& work);

// "object-missing" or "object-damaged" for the content of this path.
tl::unexpected<Error> unreadable(const Loaded& loaded, const std::string& path);

}  // namespace fettle::shelf
