#include "fettle/link/supply_source.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <string>

#include "fettle/base/text.h"
#include "fettle/link/sample_lines.h"
#include "fettle/link/scpi_supply.h"

namespace fettle::link {
namespace {

// A file is read on from where it was; a pipe as far as something lies in it. Neither is ever waited for.
class FileSource final : public SupplySource {
public:
    FileSource(int fd, bool own, bool pipe, const Clock& clock, UnixMs origin)
        : fd_(fd), own_(own), pipe_(pipe), clock_(clock), lines_(origin) {}
    ~FileSource() override {
        if (own_) ::close(fd_);
    }
    FileSource(const FileSource&) = delete;
    FileSource& operator=(const FileSource&) = delete;

    Result<std::vector<SupplySample>> take() override {
        const UnixMs now = clock_.now();
        std::array<char, 16384> buffer;
        for (int i = 0; i < 64 && lines_.wants_more(); ++i) {
            if (pipe_) {
                pollfd p{fd_, POLLIN, 0};
                if (::poll(&p, 1, 0) <= 0 || (p.revents & POLLIN) == 0) break;
            }
            const auto n = ::read(fd_, buffer.data(), buffer.size());
            if (n < 0 && errno == EINTR) continue;
            if (n < 0 && errno != EAGAIN)
                return outside_error("samples-not-readable", "", std::strerror(errno), "look at the file or the pipe");
            if (n <= 0) break;
            lines_.feed(std::string_view(buffer.data(), static_cast<std::size_t>(n)), now);
        }
        return lines_.take(now);
    }

private:
    const int fd_;
    const bool own_, pipe_;
    const Clock& clock_;
    SampleLines lines_;
};

}  // namespace

bool is_supply_address(std::string_view text) {
    return text.starts_with("scpi://") || text.starts_with("words://");
}

Result<std::unique_ptr<SupplySource>> open_supply(std::string_view text, const Clock& clock, UnixMs origin) {
    if (is_supply_address(text)) {
        auto address = scpi::parse_address(text);
        if (!address) return pass(address);
        return std::make_unique<ScpiSupply>(std::move(*address), clock);
    }
    if (text == "-") return std::make_unique<FileSource>(STDIN_FILENO, false, true, clock, origin);
    const std::string path(text.starts_with("file:") ? text.substr(5) : text);
    const auto refused = [&](std::string why) {
        return bad_input("samples-not-readable", printable(path), std::move(why),
                         "give scpi://HOST:5025, a file or pipe of lines TIME,VOLTS,AMPS, or - for standard input");
    };
    // Not blocking: opening a named pipe that nobody writes to would wait for ever.
    const int fd = ::open(path.c_str(), O_RDONLY | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
    if (fd < 0) return refused(std::strerror(errno));
    struct stat info{};
    if (::fstat(fd, &info) != 0 || !(S_ISREG(info.st_mode) || S_ISFIFO(info.st_mode) || S_ISCHR(info.st_mode))) {
        ::close(fd);
        return refused("neither a file nor a pipe");
    }
    return std::make_unique<FileSource>(fd, true, !S_ISREG(info.st_mode), clock, origin);
}

}  // namespace fettle::link
