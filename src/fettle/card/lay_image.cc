// Laying into an image file: under a temporary name until it was read back whole.
#include <fcntl.h>
#include <fmt/core.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "fettle/base/half_done.h"
#include "fettle/base/text.h"
#include "fettle/card/lay.h"
#include "fettle/card/layout.h"

namespace fettle::card {
namespace fs = std::filesystem;
namespace {

// Holds a lock on a file as long as it lives, so that a second Fettle does not take it for left behind.
struct Locked {
    int fd = -1;
    Locked() = default;
    explicit Locked(const fs::path& p) : fd(::open(p.c_str(), O_RDWR | O_CLOEXEC | O_NOFOLLOW)) {
        if (fd >= 0 && ::flock(fd, LOCK_EX | LOCK_NB) != 0) {
            ::close(fd);
            fd = -1;
        }
    }
    Locked(const Locked&) = delete;
    Locked& operator=(const Locked&) = delete;
    ~Locked() {
        if (fd >= 0) ::close(fd);
    }
};

Status check_target(const fs::path& image, bool replace) {
    struct stat st{};
    if (::lstat(image.c_str(), &st) != 0) return {};
    struct stat real{};
    const bool resolved = ::stat(image.c_str(), &real) == 0;
    if (resolved && (S_ISBLK(real.st_mode) || S_ISCHR(real.st_mode)))
        return usage_error("image-exists", image.string(), "is a device; the name of a new image file was expected",
                           "name a file; a card is laid by its block device");
    if (resolved && S_ISDIR(real.st_mode))
        return usage_error("image-exists", image.string(), "is a folder; the name of a new image file was expected",
                           "add a file name, such as card.img");
    if (!replace || !S_ISREG(st.st_mode))
        return usage_error("image-exists", image.string(), "is there already", "name another file, or remove this one");
    return {};
}

Status put_in_place(const fs::path& temp, const fs::path& image, bool replace) {
    int bad = ::renameat2(AT_FDCWD, temp.c_str(), AT_FDCWD, image.c_str(), replace ? 0 : RENAME_NOREPLACE);
    if (bad != 0 && !replace && (errno == EINVAL || errno == ENOSYS)) {  // a file system without that promise
        std::error_code ec;
        bad = fs::exists(image, ec) ? -1 : ::rename(temp.c_str(), image.c_str());
    }
    if (bad != 0)
        return outside_error("image-not-made", image.string(),
                             "cannot be put in place: " + std::generic_category().message(errno),
                             "check the folder, then lay again");
    const fs::path folder = image.has_parent_path() ? image.parent_path() : fs::path(".");
    const int dir = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (dir >= 0) {
        ::fsync(dir);
        ::close(dir);
    }
    return {};
}

}  // namespace

Result<Laid> lay_image(const std::vector<SourceFile>& files, const family::CardRule& rule, std::uint64_t size_bytes,
                       std::string_view release_sha256, const fs::path& image, bool replace, const Progress& progress,
                       unsigned card_number) {
    if (Status s = check_target(image, replace); !s) return pass(s);
    if (size_bytes == 0) {
        const auto size = image_bytes_for(files, rule);
        if (!size) return pass(size);
        size_bytes = *size;
    }
    if (size_bytes % sector_bytes != 0)
        return usage_error("card-size-wrong", "card size",
                           fmt::format("{} bytes are no whole number of {}-byte sectors", size_bytes, sector_bytes),
                           "give a size such as 512M");
    const auto geometry = plan_geometry(size_bytes, rule);
    if (!geometry) return pass(geometry);

    const fs::path temp = image.string() + ".part";
    std::error_code ec;
    if (fs::exists(fs::symlink_status(temp, ec))) {
        const Locked mine(temp);
        if (mine.fd < 0)
            return outside_error("image-busy", temp.string(), "is being laid by another run of Fettle",
                                 "wait for it, or name another file");
        ::unlink(temp.c_str());  // left behind by a run that was killed
    }
    auto device = create_image(temp, size_bytes);
    if (!device) return pass(device);
    const HalfDone half(temp);
    const Locked mine(temp);
    auto laid = lay(files, rule, *geometry, release_sha256, **device, progress, card_number);
    if (laid)
        if (Status s = put_in_place(temp, image, replace); !s) laid = pass(s);
    if (!laid) ::unlink(temp.c_str());
    return laid;
}

Result<std::uint64_t> image_bytes_for(const std::vector<SourceFile>& files, const family::CardRule& rule) {
    std::vector<FileToPlace> places;
    for (const auto& f : files) places.push_back({f.path, f.size});
    const std::uint64_t most = rule.max_bytes ? rule.max_bytes : std::uint64_t{2} << 40;
    for (std::uint64_t size = 32u << 20; size <= most; size *= 2) {
        if (size < rule.min_bytes) continue;
        const auto g = plan_geometry(size, rule);
        if (!g && g.error().code != "card-too-small") return pass(g);
        if (!g) continue;
        // Any digest will do: it changes no size.
        const auto l = make_layout(places, rule, *g, "0000000000000000");
        if (!l && l.error().code != "card-too-small") return pass(l);
        if (!l) continue;
        if ((l->next_free - 2) / 8 + l->next_free <= g->clusters + 2) return size;
    }
    return bad_input("card-too-small", "card size",
                     fmt::format("the release does not fit on any card that the family takes (up to {}, family file)",
                                 human_bytes(most)),
                     "ask the release's source how it is meant to be installed");
}

std::string card_prefix(const family::Family& family) {
    if (!family.card || !family.package) return {};
    const std::string& on_card = family.card->index_at;
    const std::string& in_package = family.package->index;
    if (on_card.size() <= in_package.size() || !on_card.ends_with("/" + in_package)) return {};
    return on_card.substr(0, on_card.size() - in_package.size());
}

SourceFile source_from_file(std::string card_path, const fs::path& file, std::uint64_t size, std::string sha256) {
    return {std::move(card_path), size, std::move(sha256), [file](const Sink& sink) -> Status {
                const int fd = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
                if (fd < 0)
                    return bad_input("file-unreadable", file.string(),
                                     "cannot be opened: " + std::generic_category().message(errno),
                                     "check the path and its rights");
                ::posix_fadvise(fd, 0, 0, POSIX_FADV_SEQUENTIAL);
                Bytes block(256u << 10);
                Status out;
                for (;;) {
                    const ssize_t n = ::read(fd, block.data(), block.size());
                    if (n < 0 && errno == EINTR) continue;
                    if (n < 0)
                        out = outside_error("file-read-failed", file.string(),
                                            "reading failed: " + std::generic_category().message(errno),
                                            "check the medium it stands on");
                    if (n <= 0) break;
                    out = sink(ByteView(block).first(static_cast<std::size_t>(n)));
                    if (!out) break;
                }
                ::close(fd);
                return out;
            }};
}

}  // namespace fettle::card
