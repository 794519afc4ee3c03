#include "fettle/card/system_view.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <set>
#include <system_error>
#include <vector>

#include "fettle/base/text.h"

namespace fettle::card {
namespace fs = std::filesystem;
namespace {

constexpr std::size_t most_devices = 4096;
constexpr std::size_t attribute_bytes = 4096;
constexpr std::size_t list_bytes = 1u << 20;

class Reader {
public:
    explicit Reader(fs::path root) : root_(std::move(root)) {
        std::error_code ec;
        real_root_ = fs::canonical(root_, ec);
        if (ec) real_root_ = root_;
    }

    Result<SystemView> read() {
        std::error_code ec;
        std::vector<std::string> names;
        for (const auto& e : fs::directory_iterator(root_ / "sys/class/block", ec)) {
            if (names.size() == most_devices) break;
            names.push_back(e.path().filename());
        }
        if (ec)
            return outside_error("devices-not-listed", (root_ / "sys/class/block").string(),
                                 "cannot be read: " + ec.message(),
                                 "lay to an image file, or ask on a machine whose /sys is mounted");
        for (const auto& name : names) device(name);
        attribute("/proc/self/mountinfo", list_bytes);
        attribute("/proc/swaps", list_bytes);
        sources();
        return std::move(view_);
    }

private:
    // Where a path leads, as seen from our root; empty if it does not exist or leads out of the root.
    std::string real(const std::string& path) const {
        std::error_code ec;
        const fs::path there = fs::canonical(root_ / path.substr(1), ec);
        if (ec) return {};
        const fs::path inside = there.lexically_relative(real_root_);
        if (inside.empty() || *inside.begin() == "..") return {};
        return "/" + inside.string();
    }

    bool attribute(const std::string& path, std::size_t most = attribute_bytes) {
        const int fd = ::open((root_ / path.substr(1)).c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
        if (fd < 0) return false;
        std::string text;
        char part[4096];
        for (;;) {
            const ssize_t n = ::read(fd, part, std::min(sizeof part, most - text.size()));
            if (n < 0 && errno == EINTR) continue;
            if (n <= 0) break;
            text.append(part, static_cast<std::size_t>(n));
            if (text.size() >= most) break;
        }
        ::close(fd);
        if (text.ends_with('\n')) text.pop_back();
        view_.files[path] = std::move(text);
        return true;
    }

    void entries(const std::string& folder) {
        std::error_code ec;
        std::size_t n = 0;
        for (const auto& e : fs::directory_iterator(root_ / folder.substr(1), ec)) {
            if (++n > most_devices) break;
            view_.files[folder + "/" + e.path().filename().string()];
        }
    }

    void device(const std::string& name) {
        const std::string at = real("/sys/class/block/" + name);
        if (at.empty()) return;
        view_.links["/sys/class/block/" + name] = at;
        for (const char* a : {"size", "removable", "ro", "dev", "partition", "diskseq", "queue/rotational",
                              "loop/backing_file", "dm/name"})
            attribute(at + "/" + a);
        entries(at + "/holders");
        // The device and everything it hangs on, up to the root of the tree of devices.
        std::string up = at;
        for (int depth = 0; depth < 24; ++depth) {
            up = up.substr(0, up.rfind('/'));
            if (up.size() <= std::string_view("/sys/devices").size() || !seen_.insert(up).second) break;
            const std::string bus = real(up + "/subsystem");
            if (!bus.empty()) view_.links[up + "/subsystem"] = bus;
            for (const char* a : {"type", "name", "serial", "vendor", "model", "product", "manufacturer"})
                attribute(up + "/" + a);
        }
    }

    // Names under /dev that mounts and swaps use, and what they stand for.
    void sources() {
        for (const char* list : {"/proc/self/mountinfo", "/proc/swaps"})
            for (const auto& line : split(view_.files[list], '\n'))
                for (const auto& word : split(line, ' ')) {
                    if (!word.starts_with("/dev/") || view_.links.count(word) != 0) continue;
                    const std::string there = real(word);
                    if (!there.empty() && there != word) view_.links[word] = there;
                }
    }

    fs::path root_, real_root_;
    SystemView view_;
    std::set<std::string> seen_;
};

}  // namespace

Result<SystemView> read_system(const fs::path& root) {
    return Reader(root).read();
}

Result<SystemView> parse_system_view(std::string_view text, std::string_view place) {
    SystemView view;
    std::string* open = nullptr;
    std::size_t n = 0;
    for (const auto& line : split(text, '\n')) {
        ++n;
        if (line.starts_with("    ") && open) {
            if (!open->empty()) *open += '\n';
            *open += line.substr(4);
            continue;
        }
        if (trim(line).empty() || line.starts_with('#')) continue;
        open = nullptr;
        const auto link = line.find(" -> "), file = line.find(" = ");
        if (line.starts_with('/') && link != std::string::npos)
            view.links[line.substr(0, link)] = line.substr(link + 4);
        else if (line.starts_with('/') && file != std::string::npos)
            view.files[line.substr(0, file)] = line.substr(file + 3);
        else if (line.starts_with('/') && line.ends_with(':'))
            open = &(view.files[line.substr(0, line.size() - 1)] = {});
        else if (line.starts_with('/'))
            view.files[line];
        else
            return bad_input("device-view-wrong", fmt::format("{}, line {}", place, n),
                             fmt::format("'{}' is neither a link, a file nor a remark", printable(line)),
                             "write PATH -> PATH, PATH = TEXT, or PATH: with its lines below");
    }
    return view;
}

}  // namespace fettle::card
