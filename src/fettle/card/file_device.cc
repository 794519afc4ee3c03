// Image files and block devices through file descriptors.
#include <fcntl.h>
#include <fmt/core.h>
#include <linux/fs.h>
#include <linux/magic.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <cerrno>
#include <system_error>

#include "fettle/card/block_device.h"

namespace fettle::card {
namespace {

std::string why(int error) {
    return std::generic_category().message(error);
}

class FileDevice final : public BlockDevice {
public:
    FileDevice(int fd, std::string name, std::uint64_t size, bool writable, bool is_device)
        : fd_(fd), name_(std::move(name)), size_(size), writable_(writable), is_device_(is_device) {}
    FileDevice(const FileDevice&) = delete;
    FileDevice& operator=(const FileDevice&) = delete;
    ~FileDevice() override { ::close(fd_); }

    std::string name() const override { return name_; }
    std::uint64_t size_bytes() const override { return size_; }
    bool fresh() const override { return writable_; }  // only create_image opens for writing

    Status read_at(std::uint64_t at, ByteSpan out) override {
        if (at > size_ || out.size() > size_ - at)
            return bad_input("past-the-end", place(at),
                             fmt::format("{} bytes wanted here, but the card ends at byte {}", out.size(), size_),
                             "the card or its image is cut short; lay it again");
        for (std::size_t done = 0; done < out.size();) {
            const ssize_t n = ::pread(fd_, out.data() + done, out.size() - done, static_cast<off_t>(at + done));
            if (n < 0 && errno == EINTR) continue;
            if (n <= 0)
                return outside_error("device-read-failed", place(at + done),
                                     n < 0 ? "reading failed: " + why(errno) : "ends earlier than it said it would",
                                     "clean the contacts and try once more; if it fails again, retire the card");
            done += static_cast<std::size_t>(n);
        }
        return {};
    }

    Status write_at(std::uint64_t at, ByteView data) override {
        if (!writable_)
            return bad_input("device-read-only", name_, "was opened for reading only", "this is a mistake in Fettle");
        if (at > size_ || data.size() > size_ - at)
            return bad_input("past-the-end", place(at),
                             fmt::format("{} bytes do not fit, the card ends at byte {}", data.size(), size_),
                             "take a larger card");
        for (std::size_t done = 0; done < data.size();) {
            const ssize_t n = ::pwrite(fd_, data.data() + done, data.size() - done, static_cast<off_t>(at + done));
            if (n < 0 && errno == EINTR) continue;
            if (n < 0)
                return outside_error("device-write-failed", place(at + done), "writing failed: " + why(errno),
                                     errno == ENOSPC || errno == EFBIG || errno == EDQUOT
                                         ? "make room there or name another folder, then lay again"
                                         : "check the medium, then lay again");
            done += static_cast<std::size_t>(n);
        }
        return {};
    }

    Status sync() override {
        if (::fsync(fd_) != 0)
            return outside_error("device-sync-failed", name_, "could not be brought to the medium: " + why(errno),
                                 "check the medium and the room on it, then lay again");
        return {};
    }

    bool drop_cache() override {
        struct statfs fs{};
        if (!is_device_ && ::fstatfs(fd_, &fs) == 0) {
            const auto kind = static_cast<unsigned long>(fs.f_type);
            if (kind == TMPFS_MAGIC || kind == RAMFS_MAGIC) return false;
        }
        return ::posix_fadvise(fd_, 0, 0, POSIX_FADV_DONTNEED) == 0;
    }

private:
    std::string place(std::uint64_t at) const { return fmt::format("{}, byte {}", name_, at); }

    int fd_;
    std::string name_;
    std::uint64_t size_;
    bool writable_;
    bool is_device_;
};

}  // namespace

Result<std::unique_ptr<BlockDevice>> open_for_reading(const std::filesystem::path& path) {
    // O_NONBLOCK: a named pipe must not make us wait.
    const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return bad_input("card-unreadable", path.string(), "cannot be opened: " + why(errno),
                         errno == EACCES ? "ask for the right to read it (a card reader's device often needs it)"
                                         : "check the path");
    struct stat st{};
    std::uint64_t size = 0;
    if (::fstat(fd, &st) == 0) {
        if (S_ISREG(st.st_mode))
            return std::unique_ptr<BlockDevice>(
                new FileDevice(fd, path.string(), static_cast<std::uint64_t>(st.st_size), false, false));
        if (S_ISBLK(st.st_mode) && ::ioctl(fd, BLKGETSIZE64, &size) == 0)
            return std::unique_ptr<BlockDevice>(new FileDevice(fd, path.string(), size, false, true));
    }
    const bool folder = S_ISDIR(st.st_mode);
    ::close(fd);
    return bad_input("card-unreadable", path.string(),
                     folder ? "is a folder; a card image or the card's device was expected"
                            : "is neither a card image nor a block device",
                     folder ? "name the image file, or the device of the whole card (not where it is mounted)"
                            : "name an image file or a card's device");
}

Result<std::unique_ptr<BlockDevice>> create_image(const std::filesystem::path& path, std::uint64_t size_bytes) {
    const int fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (fd < 0) {
        if (errno == EEXIST)
            return bad_input("image-exists", path.string(), "is there already",
                             "name another file, or remove this one first");
        return outside_error("image-not-made", path.string(), "cannot be created: " + why(errno),
                             "name a folder that exists and can be written");
    }
    if (::ftruncate(fd, static_cast<off_t>(size_bytes)) != 0) {
        const int error = errno;
        ::close(fd);
        ::unlink(path.c_str());
        return outside_error("image-not-made", path.string(),
                             fmt::format("cannot be made {} bytes long: {}", size_bytes, why(error)),
                             "name a folder on a file system that takes files of this size");
    }
    return std::unique_ptr<BlockDevice>(new FileDevice(fd, path.string(), size_bytes, true, false));
}

}  // namespace fettle::card
