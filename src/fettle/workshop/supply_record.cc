#include "fettle/workshop/supply_record.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cmath>
#include <cstring>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/link/sample_lines.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

constexpr std::uint64_t kStretch = 4096;  // bytes: some three minutes of readings

std::string name_of(const std::string& job, std::size_t number) {
    return fmt::format("{}-{}-supply.csv", job, number);
}

std::string figure(double v, int digits) {
    return std::isfinite(v) ? fmt::format("{:.{}f}", v, digits) : std::string();
}

// The readings of the whole lines in `text`, and how long those are.
std::vector<SupplySample> readings_of(std::string_view text, UnixMs started, std::size_t& bytes) {
    std::vector<SupplySample> out;
    int n = 0;
    bytes = 0;
    for (auto end = text.find('\n'); end != std::string_view::npos; end = text.find('\n', bytes)) {
        const auto sample = link::parse_sample(text.substr(bytes, end - bytes), ++n, started, started);
        if (sample && *sample) out.push_back(**sample);
        bytes = end + 1;
    }
    return out;
}

}  // namespace

SupplyTail::SupplyTail(const Workshop& shop, const std::string& job, std::size_t number, const book::Run& run)
    : file_(shop.home / "series" / name_of(job, number)), started_(run.started) {}

std::vector<SupplySample> SupplyTail::more() {
    std::error_code none;
    const std::uintmax_t size = std::filesystem::file_size(file_, none);
    if (none || size <= read_) return {};
    const int fd = ::open(file_.c_str(), O_RDONLY | O_CLOEXEC);
    if (fd < 0) return {};
    std::string text(size - read_, '\0');
    const ssize_t got = ::pread(fd, text.data(), text.size(), static_cast<off_t>(read_));
    ::close(fd);
    if (got <= 0) return {};
    text.resize(static_cast<std::size_t>(got));
    std::size_t bytes = 0;
    std::vector<SupplySample> out = readings_of(text, started_, bytes);
    read_ += bytes;
    return out;
}

RecordedSupply recorded_supply(const Workshop& shop, const std::string& job, std::size_t number, const book::Run& run) {
    RecordedSupply out;
    const auto path = shop.home / "series" / name_of(job, number);
    std::error_code ignored;
    if (!std::filesystem::exists(path, ignored)) {
        out.changed = !run.series.empty();
        return out;
    }
    const auto text = read_text_file(path);
    if (!text) return out;
    for (const book::SeriesChunk& c : run.series) {
        if (c.kind != "supply") continue;
        const bool there = c.from <= text->size() && c.bytes <= text->size() - c.from;
        if (!there || sha256_hex(std::string_view(*text).substr(c.from, c.bytes)) != c.sha256) out.changed = true;
    }
    std::size_t bytes = 0;
    out.samples = readings_of(*text, run.started, bytes);
    return out;
}

SupplyRecorder::SupplyRecorder(const Workshop& shop, std::string job, std::size_t number, const book::Run& run)
    : context_(shop), job_(std::move(job)), file_(name_of(job_, number)), started_(run.started) {
    const auto folder = shop.home / "series";
    if (!make_folder(folder)) return;
    fd_ = ::open((folder / file_).c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (fd_ < 0) return;
    if (::flock(fd_, LOCK_EX | LOCK_NB) != 0) {
        ::close(fd_);
        fd_ = -1;
        return;
    }
    for (const book::SeriesChunk& c : run.series) {
        if (c.kind == "supply") sealed_ = std::max(sealed_, c.from + c.bytes);
    }
    // A line that a kill tore is taken off.
    auto size = static_cast<std::uint64_t>(std::max<off_t>(0, ::lseek(fd_, 0, SEEK_END)));
    char last = '\n';
    while (size > sealed_ && ::pread(fd_, &last, 1, static_cast<off_t>(size - 1)) == 1 && last != '\n') --size;
    if (::ftruncate(fd_, static_cast<off_t>(size)) == 0) size_ = size;
    ::lseek(fd_, static_cast<off_t>(size_), SEEK_SET);
}

SupplyRecorder::~SupplyRecorder() {
    if (fd_ >= 0) ::close(fd_);
}

Status SupplyRecorder::add(const std::vector<SupplySample>& samples) {
    if (samples.empty()) return {};
    std::string text;
    for (const SupplySample& s : samples)
        text += fmt::format("{:.3f},{},{}\n", static_cast<double>(s.t - started_) / 1000, figure(s.volts, 3),
                            figure(s.amps, 4));
    std::size_t done = 0;
    while (done < text.size()) {
        const ssize_t n = ::write(fd_, text.data() + done, text.size() - done);
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0)
            return outside_error("series-not-written", file_, std::strerror(errno),
                                 "make room; the watch goes on without recording the supply");
        done += static_cast<std::size_t>(n);
    }
    size_ += text.size();
    return {};
}

Status SupplyRecorder::seal(bool at_once) {
    const std::uint64_t open = size_ - sealed_;
    if (open == 0 || (!at_once && open < kStretch)) return {};
    ::fdatasync(fd_);
    std::string text(open, '\0');
    std::size_t got = 0;
    while (got < text.size()) {
        const ssize_t n = ::pread(fd_, text.data() + got, text.size() - got, static_cast<off_t>(sealed_ + got));
        if (n <= 0)
            return outside_error("series-not-written", file_, "it cannot be read back",
                                 "look at the disk; the watch goes on without recording the supply");
        got += static_cast<std::size_t>(n);
    }
    NewEntry entry{
        "series",
        {{"kind", "supply"}, {"file", file_}, {"from", sealed_}, {"bytes", open}, {"sha256", sha256_hex(text)}}};
    if (auto kept = append_entries(context_, job_, {entry}); !kept) return kept;
    sealed_ = size_;
    return {};
}

}  // namespace fettle::workshop
