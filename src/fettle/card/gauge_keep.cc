#include "fettle/card/gauge_keep.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "fettle/base/digest.h"
#include "fettle/base/half_done.h"
#include "fettle/card/geometry.h"

namespace fettle::card {
namespace fs = std::filesystem;
namespace {

std::string why(int error) {
    return std::generic_category().message(error);
}

struct Open {
    int fd;
    explicit Open(int descriptor) : fd(descriptor) {}
    Open(const Open&) = delete;
    Open& operator=(const Open&) = delete;
    ~Open() {
        if (fd >= 0) ::close(fd);
    }
};

tl::unexpected<Error> not_saved(const fs::path& file, int error) {
    return outside_error("keep-not-saved", file.string(),
                         "what the gauge would overwrite cannot be saved here: " + why(error),
                         "make room, or name another --home; nothing was written to the card");
}

bool write_all(int fd, ByteView data) {
    for (std::size_t done = 0; done < data.size();) {
        const ssize_t n = ::write(fd, data.data() + done, data.size() - done);
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) return false;
        done += static_cast<std::size_t>(n);
    }
    return true;
}

bool read_all(int fd, std::uint64_t at, ByteSpan out) {
    for (std::size_t done = 0; done < out.size();) {
        const ssize_t n = ::pread(fd, out.data() + done, out.size() - done, static_cast<off_t>(at + done));
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) return false;
        done += static_cast<std::size_t>(n);
    }
    return true;
}

std::uint64_t total_of(const std::vector<Stretch>& all) {
    std::uint64_t total = 0;
    for (const auto& s : all) total += s.length;
    return total;
}

tl::unexpected<Error> damaged(const Saved& saved, std::string what) {
    return bad_input("keep-file-damaged", saved.file.string(), std::move(what),
                     "nothing was written to the card; keep this file, it may be all there is");
}

// Holds this session's marks, in part or whole. A wrap may have brought them here from elsewhere.
bool marked(const GaugePlan& plan, ByteView bytes) {
    for (std::size_t at = 0; at + sector_bytes <= bytes.size(); at += sector_bytes)
        if (mark_in(plan, bytes.subspan(at, sector_bytes))) return true;
    return false;
}

Result<std::string> digest_of_file(const Saved& saved, int fd) {
    Sha256Stream digest;
    Bytes part(1u << 20);
    for (std::uint64_t at = 0; at < saved.bytes; at += part.size()) {
        const ByteSpan some = ByteSpan(part).first(std::min<std::uint64_t>(part.size(), saved.bytes - at));
        if (!read_all(fd, at, some)) return damaged(saved, "is shorter than what was saved, or cannot be read");
        digest.update(some);
    }
    return hex(digest.finish());
}

}  // namespace

Result<Saved> save_touched(const GaugePlan& plan, BlockDevice& device, const fs::path& file,
                           const GaugeProgress& progress) {
    const auto all = touched(plan);
    const std::uint64_t total = total_of(all);
    const fs::path temp = file.string() + ".part";
    const HalfDone half(temp);
    std::error_code ec;
    fs::remove(temp, ec);  // left by a run that was killed
    const Open out(::open(temp.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600));
    if (out.fd < 0) return not_saved(temp, errno);
    Saved saved{file, 0, {}};
    Sha256Stream digest;
    Bytes part(plan.chunk_bytes);
    const auto copy = [&]() -> Status {
        for (const auto& s : all) {
            const ByteSpan bytes = ByteSpan(part).first(s.length);
            if (Status st = device.read_at(s.at, bytes); !st) return st;
            if (!write_all(out.fd, bytes)) return not_saved(file, errno);
            digest.update(bytes);
            saved.bytes += s.length;
            if (progress) progress(saved.bytes, total);
        }
        if (::fsync(out.fd) != 0 || ::rename(temp.c_str(), file.c_str()) != 0) return not_saved(file, errno);
        const Open folder(::open(file.parent_path().c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
        if (folder.fd < 0 || ::fsync(folder.fd) != 0) return not_saved(file, errno);
        return {};
    };
    if (Status s = copy(); !s) {
        fs::remove(temp, ec);
        return pass(s);
    }
    saved.sha256 = hex(digest.finish());
    return saved;
}

Result<Restored> restore_touched(const GaugePlan& plan, BlockDevice& device, const Saved& saved, bool all,
                                 const GaugeProgress& progress) {
    auto stretches = touched(plan);
    const std::uint64_t total = total_of(stretches);
    const Open in(::open(saved.file.c_str(), O_RDONLY | O_CLOEXEC));
    if (in.fd < 0) return damaged(saved, "cannot be opened: " + why(errno));
    if (saved.bytes != total) return damaged(saved, "belongs to another card or another gauging");
    const auto sum = digest_of_file(saved, in.fd);
    if (!sum) return pass(sum);
    if (*sum != saved.sha256) return damaged(saved, "has another digest than what was saved");

    Restored out;
    Bytes old(plan.chunk_bytes), now(plan.chunk_bytes);
    std::uint64_t at = total, done = 0;
    std::vector<Stretch> mine;  // written, or as saved: to be looked at again
    std::reverse(stretches.begin(), stretches.end());
    for (const auto& s : stretches) {
        at -= s.length;
        const ByteSpan was = ByteSpan(old).first(s.length), is = ByteSpan(now).first(s.length);
        if (!read_all(in.fd, at, was)) return damaged(saved, "cannot be read to its end");
        const Status read = device.read_at(s.at, is);  // what cannot be read may still take a write
        if (read && std::equal(was.begin(), was.end(), is.begin())) {
            ++out.as_saved;
            mine.push_back(s);
        } else if (all || !read || marked(plan, is)) {
            if (Status st = device.write_at(s.at, was); !st) return pass(st);
            ++out.put_back;
            mine.push_back(s);
        } else {
            ++out.left;
        }
        done += s.length;
        if (progress) progress(done, 2 * total);
    }
    if (Status st = device.sync(); !st) return pass(st);
    out.cold = device.drop_cache();
    at = total;
    auto next = mine.begin();
    for (const auto& s : stretches) {
        at -= s.length;
        done += s.length;
        if (progress) progress(done, 2 * total);
        if (next == mine.end() || !(*next == s)) continue;
        ++next;
        const ByteSpan was = ByteSpan(old).first(s.length), is = ByteSpan(now).first(s.length);
        if (!read_all(in.fd, at, was)) return damaged(saved, "cannot be read to its end");
        if (!device.read_at(s.at, is) || !std::equal(was.begin(), was.end(), is.begin())) ++out.differ;
    }
    return out;
}

}  // namespace fettle::card
