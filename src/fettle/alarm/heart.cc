#include "fettle/alarm/heart.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <charconv>

#include "fettle/base/files.h"
#include "fettle/base/text.h"

namespace fettle::alarm {
namespace {

constexpr std::string_view kStopped = "stopped";

// Always as many bytes as before, so that one write puts it in the place of what stood there.
void write_over(int fd, std::string_view word) {
    const std::string line = fmt::format("{:<20}\n", word);
    if (fd >= 0 && ::pwrite(fd, line.data(), line.size(), 0) < 0) return;  // who listens will be alarmed
}

}  // namespace

Heart::Heart(const std::filesystem::path& folder, const std::string& job) {
    if (!make_folder(folder)) return;
    fd_ = ::open((folder / job).c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (const auto last = read_heart(folder, job).count) count_ = *last;
}

Heart::~Heart() {
    if (fd_ >= 0) ::close(fd_);
}

void Heart::beat() {
    write_over(fd_, fmt::format("{}", ++count_));
}

void Heart::stop() {
    write_over(fd_, kStopped);
}

HeartRead read_heart(const std::filesystem::path& folder, const std::string& job) {
    HeartRead out;
    const auto text = read_text_file(folder / job, 4096);
    if (!text) return out;
    const std::string_view word = trim(*text);
    out.stopped = word == kStopped;
    long count = 0;
    const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), count);
    if (!word.empty() && error == std::errc() && end == word.data() + word.size()) out.count = count;
    return out;
}

bool Listener::hear(std::optional<long> beat, double now_s) {
    if (!begun_) {
        begun_ = true;
        since_s_ = heard_s_ = now_s;
    }
    if (beat && (!last_ || *beat != *last_)) {
        last_ = beat;
        heard_s_ = now_s;
    }
    return now_s - heard_s_ >= patience_s_;
}

}  // namespace fettle::alarm
