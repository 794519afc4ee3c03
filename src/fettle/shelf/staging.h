// Taking content in: read once, digested once, compressed on all cores, written once. The packs stand in a folder of
// their own below staging/ until they are published; what a killed intake left is cleared away at the next opening.
//
//   packs/000001.pack     parts, see pack.h
//   staging/N.lock        held (flock) by the process that fills staging/N/
//   staging/N/0.pack …    packs on their way in
//   use.lock              shared by all who have the shelf open
//   work.lock             shared by all intakes; tidying takes it alone
//   publish.lock          held while packs get their names and the catalogue is told, and while leftovers are cleared
#pragma once

#include <condition_variable>
#include <deque>
#include <future>
#include <memory>
#include <mutex>
#include <optional>
#include <semaphore>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "fettle/base/half_done.h"
#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/shelf/catalogue.h"
#include "fettle/shelf/disk.h"
#include "fettle/shelf/locks.h"
#include "fettle/shelf/package.h"
#include "fettle/shelf/packs.h"

namespace fettle::shelf {

// The parts of an open shelf that intake and tidying share; all outlive them.
struct Store {
    std::filesystem::path folder;
    Disk& disk;
    Catalogue& catalogue;
};

struct Stored {
    std::uint64_t size = 0;
    std::string sha256;
    bool longer = false;                         // went on past the limit; nothing of it is published
    std::map<std::string, std::string> digests;  // the asked ones
};

// A folder below staging/ with its lock; goes with all that is in it.
class StagingFolder {
public:
    static Result<std::unique_ptr<StagingFolder>> make(const Store& store);
    ~StagingFolder();
    StagingFolder(const StagingFolder&) = delete;
    StagingFolder& operator=(const StagingFolder&) = delete;
    const std::filesystem::path& path() const { return folder_; }

private:
    StagingFolder(Disk& disk, std::filesystem::path folder, FileLock lock);
    Disk& disk_;
    const std::filesystem::path folder_;
    FileLock lock_;
    HalfDone half_folder_, half_lock_;
};

// One intake. From follow() or the first put() to seal() or stop() it uses the catalogue's connection from threads of
// its own: nobody else may. put() may be called from several threads; the rest from one. Destruction removes all that
// was not published.
class Staging {
public:
    static Result<std::unique_ptr<Staging>> make(const Store& store);
    Staging(const Staging&) = delete;
    Staging& operator=(const Staging&) = delete;
    ~Staging();

    // From now on a file becomes a delta on the same piece's file (else the same path) of the nearest earlier release
    // of the family that is on the shelf whole, by the family's own order of versions.
    // Looked up in the catalogue beside whatever comes next: put() may be called at once. `order` must outlive it.
    void follow(const family::VersionOrder& order, const std::string& family, const family::Release& release);

    // Reads to the end or one byte past `limit`. Computes SHA-256 and the asked digests on the way; keeps the content
    // only when `keep` is set. Compression may go on after it has returned. outside_error "shelf-write-failed" when the
    // disk is full or read-only, now or for a file that was put before.
    Result<Stored> put(const std::string& path, const Read& read, std::uint64_t limit,
                       const std::vector<std::string>& digests, bool keep);

    // Nothing of it will be wanted: leaves what is not yet compressed, and waits for what is under way.
    void stop();

    // Waits for the compression; then everything kept onto the medium. Nothing is moved yet. After it contents() says
    // what is new or mended: no more than the shelf has not got.
    Status seal();
    // The new packs to the names of `packs()`, which it chooses; without what another intake has brought meanwhile.
    // When that leaves nothing, no pack is published. Hold the publish lock.
    Status publish();
    void withdraw();  // takes the packs away again, after the catalogue said no

    const NewContents& contents() const { return contents_; }
    const std::vector<std::int64_t>& packs() const { return pack_ids_; }

private:
    struct Whole;  // one content under way
    struct Job {
        std::shared_ptr<Whole> whole;
        int seq = 0;
        Buffer content;
        std::string path;
        bool in_one = false;  // its content's only part, whose digest is known
    };
    Staging(const Store& store, FileLock work, std::unique_ptr<StagingFolder> folder);
    Result<Stored> take(const std::string& path, const Read& read, std::uint64_t limit,
                        const std::vector<std::string>& digests, bool keep);
    using Listed = std::vector<std::string>;             // SHA-256 that the index gives
    using ByPiece = std::map<std::string, std::string>;  // "box, piece, which file by number" → path
    Status find_predecessor(const family::VersionOrder& order, const std::string& family, const std::string& release,
                            Listed listed, const ByPiece& pieces);
    void hand_over(Job job);  // to the helper if it has room, else done at once
    void work(Job& job);
    Status store_part(Job& job, Bench& bench);
    Result<bool> there_and_whole(const std::string& sha256, std::optional<ByteView> content, Bench& bench,
                                 std::int64_t& mends);
    Status keep_what_is_whole(std::int64_t content, Whole& whole, Bench& bench);
    std::optional<Part> prefix_for(const std::string& path, int seq) const;
    void help();  // the helper thread
    std::unique_ptr<Bench> bench();
    void give_back(std::unique_ptr<Bench> bench);
    Buffer buffer();

    const Store store_;
    FileLock work_;
    std::unique_ptr<StagingFolder> folder_;
    PackReader reader_;
    PackWriter writer_;
    std::shared_future<Status> followed_;  // not valid: nothing to follow
    // Set by find_predecessor(), constant once followed_ is there.
    Parts parts_;
    std::map<std::string, std::vector<std::int64_t>, std::less<>> before_;  // path → parts of its predecessor
    std::set<std::string> not_there_;  // of the digests that the index gives: not on the shelf when intake began

    std::mutex catalogue_guard_;             // of store_.catalogue
    std::counting_semaphore<2> large_{2};    // parts of several MB are worked on two at a time, whatever the threads
    std::mutex guard_;                       // of the rest
    std::condition_variable handed_, idle_;  // something waits for the helper; nothing is under way, or error_
    std::deque<Job> waiting_;
    std::size_t waiting_bytes_ = 0, busy_ = 0, reading_ = 0;  // reading_: calls of put() under way
    bool closing_ = false;
    std::optional<Error> error_;
    std::set<std::string> claimed_;  // contents that this intake has begun to keep
    std::vector<std::shared_ptr<Whole>> wholes_;
    std::vector<std::unique_ptr<Bench>> benches_;
    std::vector<Buffer> buffers_;
    NewContents contents_;
    std::vector<std::int64_t> pack_ids_;
    std::jthread helper_;  // last, so that it starts when the rest is there
};

// Clears what killed intakes left; leaves alone what a living process fills. Hold the publish lock.
Status clear_leftovers(const Store& store);

}  // namespace fettle::shelf
