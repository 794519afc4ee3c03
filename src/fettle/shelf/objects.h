// The object store: plain files named by their SHA-256, below objects/xx/. Written to a folder of their own, synced,
// and only then moved to their names; what a killed intake left is cleared away at the next opening.
//
//   objects/3f/3fa9…      an object
//   staging/N.lock        held (flock) by the process that fills staging/N/
//   staging/N/0, 1, …     files on their way in
//   staging/N/digests     written before the first of them is moved: which names an intake may have put in place
//   use.lock              shared by all who have the shelf open
//   publish.lock          held while objects are moved and the catalogue is told, and while leftovers are cleared
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/shelf/package.h"

namespace fettle::shelf {

// A file lock of this process, released on destruction and by the kernel when the process ends.
class FileLock {
public:
    // Waits for it; outside_error when the file cannot be opened.
    static Result<FileLock> take(const std::filesystem::path& file);
    // nullopt when another holds it (or the file is gone).
    static std::optional<FileLock> try_existing(const std::filesystem::path& file);
    // For all who use the thing beside each other; and for the one who wants to take it away: true when nobody else has
    // the file open. Whoever gets a lock on a file that was unlinked meanwhile takes it again on the new one.
    static Result<FileLock> share(const std::filesystem::path& file);
    bool alone() const;
    bool is_of(const std::filesystem::path& file) const;  // false when that name is gone or is another file by now
    explicit FileLock(int fd) : fd_(fd) {}
    FileLock(FileLock&& other) noexcept : fd_(other.fd_) { other.fd_ = -1; }
    FileLock& operator=(FileLock&&) = delete;
    ~FileLock();

private:
    int fd_;
};

struct Stored {
    std::uint64_t size = 0;
    std::string sha256;
    bool longer = false;                         // went on past the limit; nothing was kept
    std::map<std::string, std::string> digests;  // the asked ones
};

// Files on their way in. put() may be called from several threads; the rest from one. Destruction removes all that was
// not published.
class Staging {
public:
    static Result<std::unique_ptr<Staging>> make(const std::filesystem::path& shelf);
    Staging(const Staging&) = delete;
    Staging& operator=(const Staging&) = delete;
    ~Staging();

    // Reads to the end or one byte past `limit`. Computes SHA-256 and the asked digests on the way; keeps the bytes
    // only when `keep` is set. outside_error "shelf-write-failed" when the disk is full or read-only.
    Result<Stored> put(const Read& read, std::uint64_t limit, const std::vector<std::string>& digests, bool keep);

    // Everything kept so far onto the medium, and the list of its names. Nothing is moved yet.
    Status seal();
    // Moves all to their names; a name that is there is replaced by these verified bytes. Hold the publish lock.
    Status publish();

    const std::set<std::string>& names() const { return names_; }

private:
    Staging(std::filesystem::path shelf, std::filesystem::path folder, FileLock lock)
        : shelf_(std::move(shelf)), folder_(std::move(folder)), lock_(std::move(lock)) {}

    const std::filesystem::path shelf_, folder_;
    FileLock lock_;
    std::mutex guard_;  // of the rest
    std::size_t next_ = 0;
    std::vector<std::pair<std::filesystem::path, std::string>> kept_;  // file → SHA-256
    std::set<std::string> names_;
};

std::filesystem::path object_path(const std::filesystem::path& shelf, const std::string& sha256);
std::filesystem::path publish_lock(const std::filesystem::path& shelf);

// Streams one object and compares its digest at the end: outside_error "object-missing" or "object-damaged".
Status read_object(const std::filesystem::path& shelf, const std::string& sha256, const std::string& name,
                   const std::function<Status(ByteView)>& sink);

using Referenced = std::function<Result<bool>(const std::string& sha256)>;

// Removes the named objects that nothing refers to. Hold the publish lock.
Status drop_unreferenced(const std::filesystem::path& shelf, const std::set<std::string>& names,
                         const Referenced& referenced);

// Clears what killed intakes left; leaves alone what a living process fills. Does nothing when another process is
// publishing just now: the next opening will.
Status clear_leftovers(const std::filesystem::path& shelf, const Referenced& referenced);

}  // namespace fettle::shelf
