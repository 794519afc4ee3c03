// What the store asks of a disk, so that a test can put a failing one under it: one that is full, one that loses what
// was not synced. Only writing goes through here; reading has nothing to lose.
#pragma once

#include <filesystem>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::shelf {

// All errors are outside_error "shelf-full" or "shelf-write-failed". Calls may come from several threads at once.
class Disk {
public:
    virtual ~Disk() = default;
    virtual Result<int> create(const std::filesystem::path& file);  // for writing; the name must be free
    virtual Status write(int fd, const std::filesystem::path& file, ByteView bytes, std::uint64_t at);
    virtual void start_writing_back(int fd, std::uint64_t at, std::uint64_t length);  // a hint; promises nothing
    virtual Status sync(int fd, const std::filesystem::path& file);
    virtual Status sync_folder(const std::filesystem::path& folder);  // its names: what was renamed into it stays
    virtual Status rename(const std::filesystem::path& from, const std::filesystem::path& to);
    virtual void remove(const std::filesystem::path& file);  // no error: what stays is found at the next opening
    virtual Status before_commit();                          // the last instant at which nothing has changed for others
};

Disk& real_disk();

// "shelf-full" or "shelf-write-failed" with errno's words.
tl::unexpected<Error> write_failed(const std::filesystem::path& path, const char* what);

}  // namespace fettle::shelf
