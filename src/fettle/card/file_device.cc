// Image files and block devices through file descriptors.
#include "fettle/card/file_device.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <linux/fs.h>
#include <linux/magic.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <new>
#include <system_error>
#include <vector>

namespace fettle::card {
namespace {

// What direct input and output wants of addresses, lengths and buffers; enough for every block size up to 4 KiB.
constexpr std::uint64_t alignment = 4096;
constexpr std::size_t direct_bytes = 1u << 20;

std::string why(int error) {
    return std::generic_category().message(error);
}

struct Free {
    void operator()(Byte* p) const { std::free(p); }
};

class FileDevice final : public BlockDevice {
public:
    explicit FileDevice(Descriptor open) : d_(std::move(open)) {
        // A real card is written past the system's memory: a failing write is then told by the write itself, progress
        // is true, and a kill leaves no backlog that the system would still write.
        if (d_.writable && d_.is_device) direct_ = open_direct(O_RDWR);
    }
    FileDevice(const FileDevice&) = delete;
    FileDevice& operator=(const FileDevice&) = delete;
    ~FileDevice() override {
        if (direct_ >= 0) ::close(direct_);
        ::close(d_.fd);
    }

    std::string name() const override { return d_.name; }
    std::uint64_t size_bytes() const override { return d_.size; }
    bool fresh() const override { return d_.fresh; }

    Status read_at(std::uint64_t at, ByteSpan out) override {
        if (at > d_.size || out.size() > d_.size - at)
            return bad_input("past-the-end", place(at),
                             fmt::format("{} bytes wanted here, but the card ends at byte {}", out.size(), d_.size),
                             "the card or its image is cut short; lay it again");
        for (std::size_t done = 0; done < out.size();) {
            const ssize_t n = cold_
                                  ? read_direct(at + done, out.subspan(done))
                                  : ::pread(d_.fd, out.data() + done, out.size() - done, static_cast<off_t>(at + done));
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
        if (!d_.writable)
            return bad_input("device-read-only", d_.name, "was opened for reading only", "this is a mistake in Fettle");
        if (at > d_.size || data.size() > d_.size - at)
            return bad_input("past-the-end", place(at),
                             fmt::format("{} bytes do not fit, the card ends at byte {}", data.size(), d_.size),
                             "take a larger card");
        cold_ = false;
        for (std::size_t done = 0; done < data.size();) {
            const ssize_t n = write_some(at + done, data.subspan(done));
            if (n < 0 && errno == EINTR) continue;
            if (n <= 0)
                return outside_error("device-write-failed", place(at + done),
                                     n < 0 ? "writing failed: " + why(errno) : "takes no more bytes",
                                     errno == ENOSPC || errno == EFBIG || errno == EDQUOT
                                         ? "make room there or name another folder, then lay again"
                                         : "check the medium, then lay again");
            done += static_cast<std::size_t>(n);
        }
        return {};
    }

    Status sync() override {
        if (::fsync(d_.fd) != 0)
            return outside_error("device-sync-failed", d_.name, "could not be brought to the medium: " + why(errno),
                                 "check the medium and the room on it, then lay again");
        return {};
    }

    bool drop_cache() override {
        struct statfs fs{};
        if (!d_.is_device && ::fstatfs(d_.fd, &fs) == 0) {
            const auto kind = static_cast<unsigned long>(fs.f_type);
            if (kind == TMPFS_MAGIC || kind == RAMFS_MAGIC) return false;
        }
        if (d_.is_device) (void)::ioctl(d_.fd, BLKFLSBUF, 0);  // needs a right that we may not have
        (void)::posix_fadvise(d_.fd, 0, 0, POSIX_FADV_DONTNEED);
        if (direct_ < 0) direct_ = open_direct(O_RDONLY);
        Byte probe[1];
        cold_ = direct_ >= 0 && (d_.size == 0 || read_direct(0, ByteSpan(probe)) == 1);
        return cold_ || nothing_held();
    }

private:
    std::string place(std::uint64_t at) const { return fmt::format("{}, byte {}", d_.name, at); }

    // The same file once more, through its own descriptor: what was opened stays what it was whatever became of the
    // name.
    int open_direct(int flags) {
        if (!bounce_) bounce_.reset(static_cast<Byte*>(std::aligned_alloc(alignment, direct_bytes)));
        if (!bounce_) throw std::bad_alloc();
        return ::open(fmt::format("/proc/self/fd/{}", d_.fd).c_str(), flags | O_DIRECT | O_CLOEXEC);
    }

    ssize_t read_direct(std::uint64_t at, ByteSpan out) {
        const std::uint64_t from = at / alignment * alignment, skip = at - from;
        const std::uint64_t wanted = std::min<std::uint64_t>(out.size(), direct_bytes - skip);
        const std::uint64_t length = (skip + wanted + alignment - 1) / alignment * alignment;
        const ssize_t n = ::pread(direct_, bounce_.get(), length, static_cast<off_t>(from));
        if (n <= static_cast<ssize_t>(skip)) return n < 0 ? n : 0;
        const auto got = std::min<std::uint64_t>(wanted, static_cast<std::uint64_t>(n) - skip);
        std::memcpy(out.data(), bounce_.get() + skip, got);
        return static_cast<ssize_t>(got);
    }

    ssize_t write_some(std::uint64_t at, ByteView data) {
        const std::uint64_t whole = std::min<std::uint64_t>(data.size(), direct_bytes) / alignment * alignment;
        if (direct_ < 0 || at % alignment != 0 || whole == 0)
            return ::pwrite(d_.fd, data.data(), data.size(), static_cast<off_t>(at));
        std::memcpy(bounce_.get(), data.data(), whole);
        return ::pwrite(direct_, bounce_.get(), whole, static_cast<off_t>(at));
    }

    // Looks whether any page of the file is still in the system's memory.
    bool nothing_held() const {
        constexpr std::uint64_t window = std::uint64_t{1} << 30;
        std::vector<unsigned char> held(window / alignment);
        for (std::uint64_t from = 0; from < d_.size; from += window) {
            const std::uint64_t n = std::min(window, d_.size - from);
            void* const map = ::mmap(nullptr, n, PROT_READ, MAP_SHARED, d_.fd, static_cast<off_t>(from));
            if (map == MAP_FAILED) return false;
            const bool known = ::mincore(map, n, held.data()) == 0;
            ::munmap(map, n);
            const auto pages = static_cast<std::ptrdiff_t>((n + alignment - 1) / alignment);
            if (!known || std::any_of(held.begin(), held.begin() + pages, [](unsigned char c) { return c & 1; }))
                return false;
        }
        return true;
    }

    Descriptor d_;
    int direct_ = -1;    // the same file, past the system's memory; -1: not to be had here
    bool cold_ = false;  // reads go through direct_
    std::unique_ptr<Byte, Free> bounce_;
};

}  // namespace

std::unique_ptr<BlockDevice> device_on(const Descriptor& open) {
    return std::make_unique<FileDevice>(open);
}

Result<std::unique_ptr<BlockDevice>> open_for_reading(const std::filesystem::path& path) {
    // O_NONBLOCK: a named pipe must not make us wait.
    const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return bad_input("card-unreadable", path.string(), "cannot be opened: " + why(errno),
                         errno == EACCES      ? "ask for the right to read it (a card reader's device often needs it)"
                         : errno == ENOMEDIUM ? "put the card in"
                                              : "check the path");
    struct stat st{};
    std::uint64_t size = 0;
    if (::fstat(fd, &st) == 0) {
        if (S_ISREG(st.st_mode))
            return device_on({fd, path.string(), static_cast<std::uint64_t>(st.st_size), false, false, false});
        if (S_ISBLK(st.st_mode) && ::ioctl(fd, BLKGETSIZE64, &size) == 0)
            return device_on({fd, path.string(), size, false, true, false});
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
    return device_on({fd, path.string(), size_bytes, true, false, true});
}

}  // namespace fettle::card
