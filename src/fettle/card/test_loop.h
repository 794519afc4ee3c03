// A loop device over a temporary file, where the one who runs the tests may make one.
#pragma once

#include <fcntl.h>
#include <fmt/core.h>
#include <linux/loop.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <string>

namespace fettle::card::test {

class LoopDevice {
public:
    // `file` must exist and have its final size. ok() is false where loop devices are not to be had.
    explicit LoopDevice(const std::filesystem::path& file) {
        const int control = ::open("/dev/loop-control", O_RDWR | O_CLOEXEC);
        const int back = ::open(file.c_str(), O_RDWR | O_CLOEXEC);
        // Another test may take the free one first.
        for (int tries = 0; control >= 0 && back >= 0 && tries < 20 && fd_ < 0; ++tries) {
            const int n = ::ioctl(control, LOOP_CTL_GET_FREE);
            if (n < 0) break;
            const std::string path = fmt::format("/dev/loop{}", n);
            const int fd = ::open(path.c_str(), O_RDWR | O_CLOEXEC);
            if (fd < 0) break;
            if (::ioctl(fd, LOOP_SET_FD, back) == 0) {
                fd_ = fd;
                path_ = path;
                loop_info64 info{};
                const std::string name = file.string().substr(0, LO_NAME_SIZE - 1);
                std::copy(name.begin(), name.end(), info.lo_file_name);
                (void)::ioctl(fd, LOOP_SET_STATUS64, &info);
            } else {
                ::close(fd);
            }
        }
        if (control >= 0) ::close(control);
        if (back >= 0) ::close(back);
    }
    LoopDevice(const LoopDevice&) = delete;
    LoopDevice& operator=(const LoopDevice&) = delete;
    ~LoopDevice() {
        if (fd_ < 0) return;
        (void)::ioctl(fd_, LOOP_CLR_FD, 0);
        ::close(fd_);
    }

    bool ok() const { return fd_ >= 0; }
    const std::string& path() const { return path_; }

private:
    int fd_ = -1;
    std::string path_;
};

}  // namespace fettle::card::test
