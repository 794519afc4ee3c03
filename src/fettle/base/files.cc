#include "fettle/base/files.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <optional>
#include <system_error>

#include "fettle/base/half_done.h"

namespace fettle {
namespace fs = std::filesystem;
namespace {

std::string why() {
    return std::generic_category().message(errno);
}

struct Fd {
    int fd = -1;
    ~Fd() {
        if (fd >= 0) ::close(fd);
    }
};

}  // namespace

Result<std::string> read_text_file(const fs::path& path, std::uintmax_t limit_bytes) {
    Fd f{::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)};  // a pipe nobody writes to would wait for ever
    if (f.fd < 0)
        return bad_input("file-unreadable", path.string(), "cannot be opened: " + why(),
                         "check the path and its rights");
    struct stat st{};
    if (::fstat(f.fd, &st) != 0 || S_ISDIR(st.st_mode))
        return bad_input("file-unreadable", path.string(), "is a folder; a file was expected",
                         "name the file inside it");
    if (!S_ISREG(st.st_mode))
        return bad_input("file-unreadable", path.string(), "is a pipe or a device; a file was expected",
                         "save its content to a file, and name that");
    std::string out;
    char block[1 << 16];
    for (;;) {
        const ssize_t n = ::read(f.fd, block, sizeof block);
        if (n < 0 && errno == EINTR) continue;
        if (n < 0)
            return outside_error("file-read-failed", path.string(), "reading failed: " + why(), "check the medium");
        if (n == 0) return out;
        if (out.size() + static_cast<std::size_t>(n) > limit_bytes)
            return bad_input("file-too-large", path.string(),
                             "is larger than the " + std::to_string(limit_bytes) + " bytes allowed here",
                             "check that this is the right file");
        out.append(block, static_cast<std::size_t>(n));
    }
}

Status write_file_durably(const fs::path& named, std::string_view content) {
    fs::path path = named;
    std::error_code ec;
    if (fs::is_symlink(fs::symlink_status(named, ec))) {  // what it leads to is written, and the link stays one
        path = fs::canonical(named, ec);
        if (ec)
            return bad_input("not-a-plain-file", named.string(), "is a link that leads nowhere; a file was expected",
                             "name a file");
    }
    struct stat there{};  // a rename would put a plain file in the place of a device; a folder refuses by itself
    if (::stat(path.c_str(), &there) == 0 && !S_ISREG(there.st_mode) && !S_ISDIR(there.st_mode))
        return bad_input("not-a-plain-file", path.string(), "is a device or a pipe; only a plain file can be replaced",
                         "name a file");
    const fs::path temp = path.string() + ".tmp-" + std::to_string(::getpid());
    const auto fail = [&](const char* what) -> Status {
        const std::string reason = why();
        ::unlink(temp.c_str());
        return outside_error("file-write-failed", path.string(), std::string(what) + ": " + reason,
                             "make room or choose a place that can be written, then try again");
    };
    std::optional<HalfDone> half;
    {
        Fd f{::open(temp.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644)};
        if (f.fd < 0) return fail("cannot be created");
        half.emplace(temp);
        while (!content.empty()) {
            const ssize_t n = ::write(f.fd, content.data(), content.size());
            if (n < 0 && errno == EINTR) continue;
            if (n < 0) return fail("cannot be written");
            content.remove_prefix(static_cast<std::size_t>(n));
        }
        if (::fsync(f.fd) != 0) return fail("cannot be synced");
    }
    if (::rename(temp.c_str(), path.c_str()) != 0) return fail("cannot be put in place");
    const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path(".");
    Fd dir{::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)};
    if (dir.fd >= 0) ::fsync(dir.fd);
    return {};
}

Status make_folder(const fs::path& path) {
    std::error_code ec;
    const auto held = hold_off_the_end();
    fs::create_directories(path, ec);
    if (ec)
        return outside_error("folder-not-made", path.string(), "cannot be created: " + ec.message(),
                             Next{"choose a place that can be written (", with(wanted("home", "DIR")), ")"});
    return {};
}

}  // namespace fettle
