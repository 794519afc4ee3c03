// A folder for an intake's packs, and what becomes of it when the intake was killed.
#include <fcntl.h>
#include <fmt/core.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "fettle/shelf/staging.h"

namespace fettle::shelf {
namespace fs = std::filesystem;

StagingFolder::StagingFolder(Disk& disk, fs::path folder, FileLock lock)
    : disk_(disk),
      folder_(std::move(folder)),
      lock_(std::move(lock)),
      half_folder_(folder_),
      half_lock_(folder_.string() + ".lock") {}

// The lock file is made and locked first. Between the two somebody who clears leftovers may take it for one and unlink
// it; then the name is given up and the next one tried.
Result<std::unique_ptr<StagingFolder>> StagingFolder::make(const Store& store) {
    for (int k = 0; k < 1000; ++k) {
        const fs::path folder = store.folder / "staging" / fmt::format("{}-{}", ::getpid(), k);
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
        return std::unique_ptr<StagingFolder>(new StagingFolder(store.disk, folder, std::move(lock)));
    }
    return outside_error("shelf-write-failed", (store.folder / "staging").string(), "no free name for a new intake",
                         "try again");
}

StagingFolder::~StagingFolder() {
    std::error_code ec;
    for (fs::directory_iterator at(folder_, ec), end; !ec && at != end; at.increment(ec)) disk_.remove(at->path());
    disk_.remove(folder_);
    disk_.remove(folder_.string() + ".lock");
}

Status clear_leftovers(const Store& store) {
    std::error_code ec;
    std::vector<fs::path> locks;
    for (fs::directory_iterator at(store.folder / "staging", ec), end; !ec && at != end; at.increment(ec))
        if (at->path().extension() == ".lock") locks.push_back(at->path());
    for (const fs::path& file : locks) {
        const auto dead = FileLock::try_existing(file);
        if (!dead) continue;  // somebody is at work there
        fs::remove_all(fs::path(file).replace_extension(), ec);
        fs::remove(file, ec);
    }
    // A pack that got its name, but not its place in the catalogue.
    std::vector<fs::path> there;
    for (fs::directory_iterator at(packs_folder(store.folder), ec), end; !ec && at != end; at.increment(ec))
        there.push_back(at->path());
    if (there.empty()) return {};
    auto known = store.catalogue.packs();
    if (!known) return pass(known);
    std::set<fs::path> wanted;
    for (const std::int64_t id : *known) wanted.insert(pack_path(store.folder, id));
    for (const fs::path& file : there)
        if (!wanted.contains(file)) store.disk.remove(file);
    return {};
}

}  // namespace fettle::shelf
