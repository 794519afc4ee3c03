#include "fettle/shelf/objects.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <system_error>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t block_bytes = 1 << 18;
constexpr std::size_t sync_one_by_one = 64;  // above it one sync of the file system is cheaper than one for each file

tl::unexpected<Error> write_failed(const fs::path& path, const char* what) {
    return outside_error("shelf-write-failed", path.string(),
                         fmt::format("{}: {}", what, std::generic_category().message(errno)),
                         "make room, or choose a home that can be written (--home DIR); the shelf is as it was");
}

struct Fd {
    int fd = -1;
    ~Fd() {
        if (fd >= 0) ::close(fd);
    }
};

Status sync_path(const fs::path& path, int flags) {
    const Fd f{::open(path.c_str(), flags | O_CLOEXEC)};
    if (f.fd < 0 || ::fsync(f.fd) != 0) return write_failed(path, "cannot be synced");
    return {};
}

Status write_all(int fd, ByteView bytes, const fs::path& path) {
    while (!bytes.empty()) {
        const ssize_t n = ::write(fd, bytes.data(), bytes.size());
        if (n < 0 && errno == EINTR) continue;
        if (n < 0) return write_failed(path, "cannot be written");
        bytes = bytes.subspan(static_cast<std::size_t>(n));
    }
    return {};
}

bool is_digest(std::string_view text) {
    return text.size() == 64 && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

}  // namespace

FileLock::~FileLock() {
    if (fd_ >= 0) ::close(fd_);
}

Result<FileLock> FileLock::take(const fs::path& file) {
    const int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (fd < 0) return write_failed(file, "cannot be opened");
    FileLock lock(fd);
    while (::flock(fd, LOCK_EX) != 0)
        if (errno != EINTR) return write_failed(file, "cannot be locked");
    return lock;
}

Result<FileLock> FileLock::share(const fs::path& file) {
    const int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (fd < 0) return write_failed(file, "cannot be opened");
    FileLock lock(fd);
    while (::flock(fd, LOCK_SH) != 0)
        if (errno != EINTR) return write_failed(file, "cannot be locked");
    return lock;
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

fs::path object_path(const fs::path& shelf, const std::string& sha256) {
    return shelf / "objects" / sha256.substr(0, 2) / sha256;
}

fs::path publish_lock(const fs::path& shelf) {
    return shelf / "publish.lock";
}

// A new staging folder: the lock file is made and locked first. Between the two somebody who clears leftovers may take
// it for one and unlink it; then the name is given up and the next one tried.
Result<std::unique_ptr<Staging>> Staging::make(const fs::path& shelf) {
    for (int k = 0; k < 1000; ++k) {
        const fs::path folder = shelf / "staging" / fmt::format("{}-{}", ::getpid(), k);
        const fs::path lock_file = folder.string() + ".lock";
        const int fd = ::open(lock_file.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
        if (fd < 0 && errno == EEXIST) continue;
        if (fd < 0) return write_failed(lock_file, "cannot be made");
        FileLock lock(fd);
        struct stat st{};
        if (::flock(fd, LOCK_EX | LOCK_NB) != 0 || ::fstat(fd, &st) != 0 || st.st_nlink == 0) continue;
        if (::mkdir(folder.c_str(), 0755) != 0) {
            auto failed = write_failed(folder, "cannot be made");
            ::unlink(lock_file.c_str());
            return failed;
        }
        return std::unique_ptr<Staging>(new Staging(shelf, folder, std::move(lock)));
    }
    return outside_error("shelf-write-failed", (shelf / "staging").string(), "no free name for a new intake",
                         "try again");
}

Staging::~Staging() {
    std::error_code ec;
    fs::remove_all(folder_, ec);
    fs::remove(folder_.string() + ".lock", ec);
}

Result<Stored> Staging::put(const Read& read, std::uint64_t limit, const std::vector<std::string>& digests, bool keep) {
    fs::path file;
    {
        const std::lock_guard lock(guard_);
        file = folder_ / std::to_string(next_++);
    }
    const Fd out{keep ? ::open(file.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644) : -1};
    if (keep && out.fd < 0) return write_failed(file, "cannot be made");
    std::map<std::string, DigestStream> streams;
    for (const std::string& name : digests) {
        auto stream = DigestStream::make(name);
        if (!stream) return pass(stream);
        streams.emplace(name, std::move(*stream));
    }
    Sha256Stream sha;
    Stored stored;
    Bytes block(block_bytes);
    for (;;) {
        auto got = read(block);
        if (!got) return pass(got);
        if (*got == 0) break;
        if (*got > limit - stored.size) {
            stored.longer = true;
            if (keep) ::unlink(file.c_str());
            return stored;
        }
        const ByteView bytes = ByteView(block).first(*got);
        stored.size += *got;
        sha.update(bytes);
        for (auto& [name, stream] : streams) stream.update(bytes);
        if (keep)
            if (auto ok = write_all(out.fd, bytes, file); !ok) return pass(ok);
    }
    stored.sha256 = hex(sha.finish());
    for (auto& [name, stream] : streams) stored.digests[name] = stream.finish();
    if (keep) {
        const std::lock_guard lock(guard_);
        kept_.emplace_back(file, stored.sha256);
        names_.insert(stored.sha256);
    }
    return stored;
}

Status Staging::seal() {
    if (kept_.size() > sync_one_by_one) {
        const Fd f{::open(folder_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)};
        if (f.fd < 0 || ::syncfs(f.fd) != 0) return write_failed(folder_, "cannot be synced");
    } else {
        for (const auto& [file, name] : kept_)
            if (auto ok = sync_path(file, O_RDONLY); !ok) return ok;
    }
    std::string list;
    for (const std::string& name : names_) list += name + "\n";
    auto written = write_file_durably(folder_ / "digests", list);
    if (!written)
        return outside_error("shelf-write-failed", written.error().place, written.error().problem,
                             written.error().next);
    return {};
}

Status Staging::publish() {
    std::set<fs::path> folders;
    for (const auto& [file, name] : kept_) {
        const fs::path target = object_path(shelf_, name);
        if (folders.insert(target.parent_path()).second) {
            if (::mkdir(target.parent_path().c_str(), 0755) != 0 && errno != EEXIST)
                return write_failed(target.parent_path(), "cannot be made");
        }
        if (::rename(file.c_str(), target.c_str()) != 0) return write_failed(target, "cannot be put in place");
    }
    for (const fs::path& folder : folders)
        if (auto ok = sync_path(folder, O_RDONLY | O_DIRECTORY); !ok) return ok;
    return sync_path(shelf_ / "objects", O_RDONLY | O_DIRECTORY);
}

Status read_object(const fs::path& shelf, const std::string& sha256, const std::string& name,
                   const std::function<Status(ByteView)>& sink) {
    const fs::path path = object_path(shelf, sha256);
    const std::string next = "add the package again: that puts the piece right";
    const Fd in{::open(path.c_str(), O_RDONLY | O_CLOEXEC)};
    if (in.fd < 0)
        return outside_error("object-missing", path.string(),
                             fmt::format("\"{}\" is on the shelf, but its bytes cannot be opened: {}", printable(name),
                                         std::generic_category().message(errno)),
                             next);
    Sha256Stream sha;
    Bytes block(block_bytes);
    for (;;) {
        const ssize_t n = ::read(in.fd, block.data(), block.size());
        if (n < 0 && errno == EINTR) continue;
        if (n < 0)
            return outside_error("object-damaged", path.string(),
                                 "reading failed: " + std::generic_category().message(errno), next);
        if (n == 0) break;
        const ByteView bytes = ByteView(block).first(static_cast<std::size_t>(n));
        sha.update(bytes);
        if (auto ok = sink(bytes); !ok) return ok;
    }
    if (hex(sha.finish()) != sha256)
        return outside_error("object-damaged", path.string(),
                             fmt::format("the stored bytes of \"{}\" no longer have their digest", printable(name)),
                             next);
    return {};
}

Status drop_unreferenced(const fs::path& shelf, const std::set<std::string>& names, const Referenced& referenced) {
    for (const std::string& name : names) {
        auto needed = referenced(name);
        if (!needed) return pass(needed);
        if (*needed) continue;
        std::error_code ec;
        fs::remove(object_path(shelf, name), ec);
        fs::remove(object_path(shelf, name).parent_path(), ec);  // only when it is empty
    }
    return {};
}

Status clear_leftovers(const fs::path& shelf, const Referenced& referenced) {
    std::error_code ec;
    std::vector<fs::path> locks;
    for (fs::directory_iterator at(shelf / "staging", ec), end; !ec && at != end; at.increment(ec))
        if (at->path().extension() == ".lock") locks.push_back(at->path());
    if (locks.empty()) return {};
    const auto publishing = FileLock::try_existing(publish_lock(shelf));
    if (!publishing) return {};
    for (const fs::path& file : locks) {
        const auto dead = FileLock::try_existing(file);
        if (!dead) continue;  // somebody is at work there
        const fs::path folder = fs::path(file).replace_extension();
        if (auto list = read_text_file(folder / "digests")) {
            std::set<std::string> names;
            for (const std::string& line : split(*list, '\n'))
                if (is_digest(line)) names.insert(line);
            if (auto ok = drop_unreferenced(shelf, names, referenced); !ok) return ok;
        }
        fs::remove_all(folder, ec);
        fs::remove(file, ec);
    }
    return {};
}

}  // namespace fettle::shelf
