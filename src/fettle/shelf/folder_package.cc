#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <mutex>
#include <system_error>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/shelf/package.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t most_members = 100'000;

class FolderPackage final : public Package {
public:
    FolderPackage(fs::path root, std::vector<Member> members) : root_(std::move(root)), members_(std::move(members)) {}

    const std::vector<Member>& members() const override { return members_; }

    Status visit(const std::vector<bool>& wanted, const Take& take) override {
        std::atomic<std::size_t> next{0};
        std::atomic<bool> stop{false};
        std::mutex guard;  // of `failed`
        Status failed;
        const auto work = [&] {
            for (std::size_t i = next++; i < members_.size() && !stop; i = next++) {
                if (!wanted[i]) continue;
                Status one = take_one(i, take);
                if (one) continue;
                const std::lock_guard lock(guard);
                if (failed) failed = std::move(one);
                stop = true;
            }
        };
        {
            const std::jthread second(work);
            work();
        }
        return failed;
    }

    Result<std::optional<std::string>> sha256() const override { return std::optional<std::string>(); }
    Status unchanged() const override { return {}; }

private:
    Status take_one(std::size_t i, const Take& take) const {
        const fs::path file = root_ / fs::path(members_[i].path);
        // Not followed: between listing and reading somebody may have put a link there.
        const int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
        const auto why = std::generic_category().message(errno);
        if (fd < 0)
            return bad_input("file-unreadable", file.string(), "cannot be opened: " + why,
                             "check its rights, then try again");
        struct stat st{};
        Status done;
        if (::fstat(fd, &st) != 0 || !S_ISREG(st.st_mode)) {
            done = bad_input("package-changed", file.string(), "is no plain file any more",
                             "let nobody write to the folder while it is read, then try again");
        } else {
            done = take(i, [&](ByteSpan into) -> Result<std::size_t> {
                for (;;) {
                    const ssize_t n = ::read(fd, into.data(), into.size());
                    if (n >= 0) return static_cast<std::size_t>(n);
                    if (errno != EINTR)
                        return outside_error("file-read-failed", file.string(),
                                             "reading failed: " + std::generic_category().message(errno),
                                             "check the medium");
                }
            });
        }
        ::close(fd);
        return done;
    }

    fs::path root_;
    std::vector<Member> members_;
};

MemberKind kind_of(const fs::file_status& status) {
    switch (status.type()) {
        case fs::file_type::regular: return MemberKind::file;
        case fs::file_type::directory: return MemberKind::folder;
        case fs::file_type::symlink: return MemberKind::link;
        default: return MemberKind::device;
    }
}

}  // namespace

Result<std::unique_ptr<Package>> open_folder(const fs::path& path) {
    std::vector<Member> members;
    std::error_code ec;
    fs::recursive_directory_iterator walk(path, fs::directory_options::none, ec);
    const std::size_t root = path.generic_string().size();
    for (; !ec && walk != fs::recursive_directory_iterator(); walk.increment(ec)) {
        const fs::file_status status = walk->symlink_status(ec);
        if (ec) break;
        Member m;
        std::string_view name = walk->path().native();
        name.remove_prefix(root);
        while (name.starts_with('/')) name.remove_prefix(1);
        m.path = name;
        m.kind = kind_of(status);
        if (m.kind == MemberKind::file) m.size = walk->file_size(ec);
        if (ec) break;
        if (members.size() >= most_members)
            return bad_input("package-too-many", path.string(), "holds more than 100,000 files and folders",
                             "name the folder of one release");
        members.push_back(std::move(m));
    }
    if (ec)
        return bad_input("file-unreadable", path.string(), "cannot be listed: " + ec.message(),
                         "check its rights, then try again");
    std::sort(members.begin(), members.end(), [](const Member& a, const Member& b) { return a.path < b.path; });
    return std::make_unique<FolderPackage>(path, std::move(members));
}

}  // namespace fettle::shelf
