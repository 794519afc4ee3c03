// Pack files on the disk: writing new ones, and reading parts out of those that are there.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <mutex>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/shelf/catalogue.h"
#include "fettle/shelf/disk.h"
#include "fettle/shelf/pack.h"

namespace fettle::shelf {

inline constexpr std::uint64_t pack_bytes = 256u << 20;  // a pack that has reached it is followed by another

std::filesystem::path packs_folder(const std::filesystem::path& shelf);
std::filesystem::path pack_path(const std::filesystem::path& shelf, std::int64_t id);

// Packs 0, 1, … of one writer, in a folder of its own until publish(). append() from any thread, the rest from one.
class PackWriter {
public:
    PackWriter(Disk& disk, std::filesystem::path folder) : disk_(disk), folder_(std::move(folder)) {}
    ~PackWriter();
    PackWriter(const PackWriter&) = delete;
    PackWriter& operator=(const PackWriter&) = delete;

    // `record`: record_head_bytes of room, then the stored bytes; the head is written here.
    Result<NewPart> append(const RecordHead& head, ByteSpan record);
    Status sync();  // one for each pack
    // To the names of these ids, one for each pack, and the names onto the medium.
    Status publish(const std::filesystem::path& shelf, const std::vector<std::int64_t>& ids);
    std::size_t packs() const { return packs_.size(); }
    std::uint64_t bytes() const;

private:
    struct One {
        int fd;
        std::filesystem::path file;
        std::uint64_t size;
    };
    Disk& disk_;
    const std::filesystem::path folder_;
    mutable std::mutex guard_;
    std::vector<One> packs_;  // guarded by guard_
};

// A part's content, or which part on the way to it could not be read.
struct Loaded {
    ByteView bytes;
    std::int64_t culprit = 0;  // part; 0: none, bytes are good
    bool missing = false;      // the culprit's pack is not there (else: damaged)
    std::uint64_t check = 0;   // quick_check(bytes), where a part was expanded: it serves the next one as its prefix's
};

// What one thread needs to read or write parts; its memory is used again.
struct Bench {
    Press press;
    Buffer stored, one, two, out;
};

// Any thread; keeps the packs open.
class PackReader {
public:
    explicit PackReader(std::filesystem::path shelf) : shelf_(std::move(shelf)) {}
    ~PackReader();
    PackReader(const PackReader&) = delete;
    PackReader& operator=(const PackReader&) = delete;

    // One part on its prefix as it was expanded (nothing when it has none) into `out`. Sum::left: the content's sum is
    // taken to be what the record says; a later sum or digest will tell.
    enum class Sum { taken, left };
    Loaded expand(const Part& part, const Loaded& prefix, Bench& bench, Buffer& out, Sum sum = Sum::taken);
    // A part through all that it rests on; the view lives until the bench is used again.
    Loaded load(const Parts& parts, const Part& part, Bench& bench);
    // The same, into a buffer of the caller's.
    Loaded load(const Parts& parts, const Part& part, Bench& bench, Buffer& out);
    // The same for a caller who holds a digest of the content against the catalogue's: without one, damage may be
    // unseen.
    Loaded load_for_digest(const Parts& parts, const Part& part, Bench& bench);
    // The record as it stands, head and all, checked once; into bench.stored. Missing and damaged as load().
    Loaded record(const Part& part, Bench& bench, Record* parsed = nullptr);
    void forget();  // closes the packs: after tidying their names mean others

private:
    int open_pack(std::int64_t id);          // -1: not there
    using Chain = std::vector<const Part*>;  // from the part down to what rests on nothing
    Loaded chain_of(const Parts& parts, const Part& part, Chain& chain) const;  // its culprit when the chain breaks off
    Loaded expand_all(const Chain& chain, Bench& bench, Buffer& out, Sum below, Sum last);
    const std::filesystem::path shelf_;
    std::mutex guard_;
    std::map<std::int64_t, int> open_;  // guarded by guard_
};

int depth(const Parts& parts, const Part& part);  // 0: rests on nothing

}  // namespace fettle::shelf
