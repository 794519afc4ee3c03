// File locks between processes: released on destruction, and by the kernel when the process ends.
#pragma once

#include <filesystem>
#include <optional>

#include "fettle/base/result.h"

namespace fettle::shelf {

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

std::filesystem::path publish_lock(const std::filesystem::path& shelf);  // while something becomes visible
std::filesystem::path work_lock(const std::filesystem::path& shelf);     // shared by intakes, alone for tidying

}  // namespace fettle::shelf
