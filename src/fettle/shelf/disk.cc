#include "fettle/shelf/disk.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <cerrno>
#include <system_error>

namespace fettle::shelf {
namespace fs = std::filesystem;

tl::unexpected<Error> write_failed(const fs::path& path, const char* what) {
    return outside_error(errno == ENOSPC || errno == EDQUOT ? "shelf-full" : "shelf-write-failed", path.string(),
                         fmt::format("{}: {}", what, std::generic_category().message(errno)),
                         Next{"make room, or choose a home that can be written (", with(wanted("home", "DIR")),
                              "); the shelf is as it was"});
}

Result<int> Disk::create(const fs::path& file) {
    const int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (fd < 0) return write_failed(file, "cannot be made");
    return fd;
}

Status Disk::write(int fd, const fs::path& file, ByteView bytes, std::uint64_t at) {
    while (!bytes.empty()) {
        const ssize_t n = ::pwrite(fd, bytes.data(), bytes.size(), static_cast<off_t>(at));
        if (n < 0 && errno == EINTR) continue;
        if (n < 0) return write_failed(file, "cannot be written");
        bytes = bytes.subspan(static_cast<std::size_t>(n));
        at += static_cast<std::uint64_t>(n);
    }
    return {};
}

void Disk::start_writing_back(int fd, std::uint64_t at, std::uint64_t length) {
    ::sync_file_range(fd, static_cast<off_t>(at), static_cast<off_t>(length), SYNC_FILE_RANGE_WRITE);
}

Status Disk::sync(int fd, const fs::path& file) {
    if (::fdatasync(fd) != 0) return write_failed(file, "cannot be synced");
    return {};
}

Status Disk::sync_folder(const fs::path& folder) {
    const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0) return write_failed(folder, "cannot be opened");
    const bool done = ::fsync(fd) == 0;
    auto failed = write_failed(folder, "cannot be synced");
    ::close(fd);
    if (!done) return failed;
    return {};
}

Status Disk::rename(const fs::path& from, const fs::path& to) {
    if (::rename(from.c_str(), to.c_str()) != 0) return write_failed(to, "cannot be put in place");
    return {};
}

void Disk::remove(const fs::path& file) {
    ::remove(file.c_str());  // a file, or a folder that is empty
}

Status Disk::before_commit() {
    return {};
}

Disk& real_disk() {
    static Disk disk;
    return disk;
}

}  // namespace fettle::shelf
