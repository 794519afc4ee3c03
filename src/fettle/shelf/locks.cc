// flock(2) on files. Whoever waited for a lock may get it on a file that was unlinked meanwhile: the name leads to
// another file then, or nowhere, and the lock is worth nothing. is_of() tells.
#include "fettle/shelf/locks.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>

#include "fettle/shelf/disk.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

Result<FileLock> locked(const fs::path& file, int how) {
    int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    // A shelf that may only be read is locked all the same: a lock needs no right to write.
    if (fd < 0 && (errno == EACCES || errno == EROFS || errno == EPERM))
        fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
    if (fd < 0) return write_failed(file, "cannot be opened");
    FileLock lock(fd);
    while (::flock(fd, how) != 0)
        if (errno != EINTR) return write_failed(file, "cannot be locked");
    return lock;
}

}  // namespace

FileLock::~FileLock() {
    if (fd_ >= 0) ::close(fd_);
}

Result<FileLock> FileLock::take(const fs::path& file) {
    return locked(file, LOCK_EX);
}

Result<FileLock> FileLock::share(const fs::path& file) {
    return locked(file, LOCK_SH);
}

bool FileLock::alone() const {
    return ::flock(fd_, LOCK_EX | LOCK_NB) == 0;
}

bool FileLock::is_of(const fs::path& file) const {
    struct stat mine{}, there{};
    return ::fstat(fd_, &mine) == 0 && ::stat(file.c_str(), &there) == 0 && mine.st_dev == there.st_dev &&
           mine.st_ino == there.st_ino;
}

std::optional<FileLock> FileLock::try_existing(const fs::path& file) {
    const int fd = ::open(file.c_str(), O_RDWR | O_CLOEXEC);
    if (fd < 0) return std::nullopt;
    FileLock lock(fd);
    if (::flock(fd, LOCK_EX | LOCK_NB) != 0) return std::nullopt;
    return lock;
}

fs::path publish_lock(const fs::path& shelf) {
    return shelf / "publish.lock";
}

fs::path work_lock(const fs::path& shelf) {
    return shelf / "work.lock";
}

}  // namespace fettle::shelf
