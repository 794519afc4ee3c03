// Disks that fail, for the shelf's tests: one that loses power and then what was not synced, one that is full, one that
// takes the process with it.
#pragma once

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <filesystem>
#include <map>
#include <mutex>
#include <set>
#include <string>
#include <vector>

#include "fettle/shelf/disk.h"

namespace fettle::shelf {

enum class Fails { power, full, killed };

// From the nth call on (from 1) nothing is done any more. power: nothing at all, and lose() then drops what was not
// synced. full: that one call fails for want of room. killed: the process ends there.
class LosingDisk final : public Disk {
public:
    LosingDisk(int nth, Fails how, unsigned seed = 0) : nth_(nth), how_(how), seed_(seed) {}

    int calls() const { return calls_; }

    Result<int> create(const std::filesystem::path& file) override {
        const std::lock_guard lock(guard_);
        if (gone()) return failed(file);
        auto fd = Disk::create(file);
        if (fd) unsynced_[file].push_back({0, 0});
        return fd;
    }
    Status write(int fd, const std::filesystem::path& file, ByteView bytes, std::uint64_t at) override {
        const std::lock_guard lock(guard_);
        if (gone()) {
            // Torn: half of it may have got there.
            if (how_ == Fails::power && calls_ == nth_ && seed_ % 2 == 1)
                (void)Disk::write(fd, file, bytes.first(bytes.size() / 2), at);
            return failed(file);
        }
        unsynced_[file].push_back({at, bytes.size()});
        return Disk::write(fd, file, bytes, at);
    }
    void start_writing_back(int, std::uint64_t, std::uint64_t) override {}
    Status sync(int fd, const std::filesystem::path& file) override {
        const std::lock_guard lock(guard_);
        if (gone()) return failed(file);
        unsynced_.erase(file);
        return Disk::sync(fd, file);
    }
    Status sync_folder(const std::filesystem::path& folder) override {
        const std::lock_guard lock(guard_);
        if (gone()) return failed(folder);
        std::erase_if(renamed_, [&](const auto& r) { return r.second.parent_path() == folder; });
        std::erase_if(removed_, [&](const auto& r) { return r.first.parent_path() == folder; });
        return Disk::sync_folder(folder);
    }
    Status rename(const std::filesystem::path& from, const std::filesystem::path& to) override {
        const std::lock_guard lock(guard_);
        if (gone()) return failed(to);
        if (auto data = unsynced_.extract(from)) {
            data.key() = to;
            unsynced_.insert(std::move(data));
        }
        renamed_.emplace_back(from, to);
        return Disk::rename(from, to);
    }
    void remove(const std::filesystem::path& file) override {
        const std::lock_guard lock(guard_);
        if (gone()) return;
        std::error_code ec;
        if (how_ == Fails::power && file.extension() == ".pack" && std::filesystem::exists(file, ec)) {
            const std::filesystem::path kept = file.string() + ".removed";
            std::filesystem::copy_file(file, kept, std::filesystem::copy_options::overwrite_existing, ec);
            removed_.emplace_back(file, kept);
        }
        Disk::remove(file);
    }
    Status before_commit() override {
        const std::lock_guard lock(guard_);
        if (gone()) return failed("the last instant");
        return {};
    }

    // The power has gone: of what was not synced, a disk may have kept all, some or nothing, and names of either kind.
    void lose() {
        for (const auto& [file, ranges] : unsynced_) {
            std::error_code ec;
            if (!std::filesystem::exists(file, ec)) continue;
            const int fd = ::open(file.c_str(), O_RDWR | O_CLOEXEC);
            if (fd < 0) continue;
            for (const auto& [at, length] : ranges) {
                if (seed_ % 3 == 0) {  // there, but zeros
                    const Bytes zeros(length);
                    (void)!::pwrite(fd, zeros.data(), zeros.size(), static_cast<off_t>(at));
                } else if (seed_ % 3 == 1) {  // not there
                    (void)!::ftruncate(fd, static_cast<off_t>(at));
                    break;
                }
            }
            ::close(fd);
        }
        for (auto r = renamed_.rbegin(); r != renamed_.rend(); ++r)
            if (seed_ % 4 >= 2) (void)Disk::rename(r->second, r->first);
        for (const auto& [file, kept] : removed_) {
            if (seed_ % 2 == 0)
                (void)Disk::rename(kept, file);
            else
                Disk::remove(kept);
        }
    }

private:
    bool gone() {
        ++calls_;
        if (how_ == Fails::full) return calls_ == nth_;
        if (calls_ < nth_) return false;
        if (how_ == Fails::killed) ::raise(SIGKILL);
        return true;
    }
    static tl::unexpected<Error> failed(const std::filesystem::path& file) {
        errno = ENOSPC;
        return write_failed(file, "made to fail");
    }

    const int nth_;
    const Fails how_;
    const unsigned seed_;
    std::mutex guard_;
    // Guarded by guard_:
    int calls_ = 0;
    std::map<std::filesystem::path, std::vector<std::pair<std::uint64_t, std::uint64_t>>> unsynced_;
    std::vector<std::pair<std::filesystem::path, std::filesystem::path>> renamed_, removed_;
};

}  // namespace fettle::shelf
