// Giving a whole package back. Its files grow in a folder beside the target, which gets its name when all is there.
#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <system_error>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/half_done.h"
#include "fettle/base/text.h"
#include "fettle/shelf/names.h"
#include "fettle/shelf/shelf_state.h"

namespace fettle::shelf {
namespace fs = std::filesystem;

std::string digest_of_lines(const std::vector<CataloguedFile>& files) {
    std::map<std::string, std::string> by_path;
    for (const CataloguedFile& f : files) by_path[f.path] = f.sha256;
    std::string lines;
    for (const auto& [path, digest] : by_path) lines += digest + "  " + path + "\n";
    return sha256_hex(std::string_view(lines));
}

namespace {

constexpr std::string_view growing = ".restoring-";

tl::unexpected<Error> not_written(const fs::path& file) {
    return outside_error("restore-write-failed", file.string(),
                         "cannot be written: " + std::generic_category().message(errno),
                         "make room or choose a place that can be written, then try again; nothing was left");
}

// What a killed restoring left beside this target: its process is gone.
void clear_dead(const fs::path& target) {
    const std::string start = target.filename().string() + std::string(growing);
    std::error_code ec;
    const fs::path parent = target.has_parent_path() ? target.parent_path() : fs::path(".");
    std::vector<fs::path> dead;
    for (fs::directory_iterator at(parent, ec), end; !ec && at != end; at.increment(ec)) {
        const std::string name = at->path().filename().string();
        if (!name.starts_with(start)) continue;
        const auto pid = number_in<pid_t>(std::string_view(name).substr(start.size()));
        if (pid && *pid > 0 && ::kill(*pid, 0) != 0 && errno == ESRCH) dead.push_back(at->path());
    }
    for (const fs::path& folder : dead) fs::remove_all(folder, ec);
}

Status check_target(const fs::path& folder) {
    std::error_code ec;
    const auto status = fs::symlink_status(folder, ec);
    const bool free = !fs::exists(status) || (fs::is_directory(status) && fs::is_empty(folder, ec) && !ec);
    if (free && !folder.filename().empty()) return {};
    return bad_input("restore-target", folder.string(), "is there already and not an empty folder",
                     "name a new folder; nothing is written over");
}

Status onto_the_medium(const fs::path& folder, int (*sync)(int)) {
    const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0) return not_written(folder);
    const bool done = sync(fd) == 0;
    auto failed = not_written(folder);
    ::close(fd);
    if (done) return {};
    return failed;
}

Status write_file(PackReader& reader, const Reading& r, const CataloguedFile& file, const fs::path& root, Bench& bench,
                  const std::function<void(std::size_t)>& done) {
    const fs::path to = root / fs::path(file.path);
    const int fd = ::open(to.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    if (fd < 0) return not_written(to);
    const auto write = [&]() -> Status {
        const auto parts = r.parts_of.find(file.sha256);
        if (parts == r.parts_of.end()) return unreadable({{}, 1, true}, file.path);
        Sha256Stream sha;
        for (const std::int64_t id : parts->second) {
            const auto part = r.parts.find(id);
            const Loaded got =
                part == r.parts.end() ? Loaded{{}, 1, true} : reader.load_for_digest(r.parts, part->second, bench);
            if (got.culprit != 0) return unreadable(got, file.path);
            sha.update(got.bytes);
            for (ByteView rest = got.bytes; !rest.empty();) {
                const ssize_t n = ::write(fd, rest.data(), rest.size());
                if (n < 0 && errno == EINTR) continue;
                if (n < 0) return not_written(to);
                rest = rest.subspan(static_cast<std::size_t>(n));
            }
            done(got.bytes.size());
        }
        if (hex(sha.finish()) != file.sha256) return unreadable({{}, 1, false}, file.path);
        return {};
    };
    Status written = write();
    if (::close(fd) != 0 && written) return not_written(to);
    return written;
}

}  // namespace

Result<Restored> Shelf::restore(std::string_view family, std::string_view release, const fs::path& folder,
                                const Progress& progress) const {
    auto reading = reading_of(*state_->catalogue, family, release);
    if (!reading) return pass(reading);
    const Reading& r = **reading;
    if (r.index_only)
        return bad_input("release-index-only", r.release, "only the index of this release is on the shelf",
                         "add the whole package");
    auto outline = find_outline(*state_->catalogue, r.family, r.release);
    if (!outline) return pass(outline);
    std::string named = folder.string();
    while (named.size() > 1 && named.ends_with('/')) named.pop_back();
    const fs::path target = named;
    if (auto ok = check_target(target); !ok) return pass(ok);
    clear_dead(target);
    const fs::path growing_at = target.string() + std::string(growing) + std::to_string(::getpid());
    std::error_code ec;
    const HalfDone half(growing_at);
    struct Remove {
        const fs::path& path;
        ~Remove() {
            std::error_code ignored;
            fs::remove_all(path, ignored);
        }
    } const remove{growing_at};

    Restored out;
    std::uint64_t total = 0;
    std::set<fs::path> folders = {growing_at};
    for (const CataloguedFile& f : r.files) {
        // Vetted when it came in; looked at again, since the catalogue is a file like others.
        for (const Reason& reason : check_path(f.path))
            if (reason.verdict == Verdict::halt)
                return outside_error("shelf-damaged", printable(f.path), "is a name that no vetting lets pass",
                                     "keep the shelf as it is and add the packages to a new one");
        folders.insert((growing_at / fs::path(f.path)).parent_path());
        total += f.size;
    }
    for (const fs::path& each : folders)
        if (auto ok = make_folder(each); !ok) return pass(ok);
    std::mutex guard;  // of out.bytes and progress
    const auto done = [&](std::size_t bytes) {
        const std::lock_guard lock(guard);
        out.bytes += bytes;
        if (progress) progress("restoring", out.bytes, total);
    };
    Status written = in_parallel(r.files.size(), [&](std::size_t i, Bench& bench) {
        return write_file(*state_->reader, r, r.files[i], growing_at, bench, done);
    });
    if (!written) return pass(written);
    out.files = r.files.size();
    out.content_sha256 = digest_of_lines(r.files);
    if (out.content_sha256 != outline->slip.content_sha256)
        return outside_error(
            "restore-differs", r.release, "its files together have not the digest recorded at intake",
            Next{propose(Act::verify_shelf), " says what is damaged; adding the package again mends it"});
    // One sync for all files, before the folder has its name: thousands of syncs of one file each take far longer.
    if (auto ok = onto_the_medium(growing_at, ::syncfs); !ok) return pass(ok);
    if (::rename(growing_at.c_str(), target.c_str()) != 0) return not_written(target);
    if (auto ok = onto_the_medium(target.has_parent_path() ? target.parent_path() : fs::path("."), ::fsync); !ok)
        return pass(ok);
    return out;
}

}  // namespace fettle::shelf
