#include "fettle/card/lay_device.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <linux/fs.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "fettle/base/text.h"
#include "fettle/card/file_device.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

std::string why(int error) {
    return std::generic_category().message(error);
}

tl::unexpected<Error> not_opened(const FoundDevice& d, int error) {
    switch (error) {
        case EBUSY:
            return outside_error("device-busy", d.path, "is in use by another program, or a part of it is mounted",
                                 "unmount it and close what uses it, then try again");
        case EACCES:
        case EPERM:
            return outside_error("device-not-permitted", d.path, "may not be written by you: " + why(error),
                                 Next{"run as root with ", with(flag("home")),
                                      " naming your own folder, or join the group that owns it"});
        case EROFS:
            return bad_input("device-read-only-medium", d.path, "is write-protected", "look at the card's slider");
        default:
            return outside_error("device-gone", d.path, "cannot be opened: " + why(error),
                                 "put the card in again, then begin again");
    }
}

tl::unexpected<Error> changed(const FoundDevice& d, std::string what) {
    return outside_error("device-changed", d.path, std::move(what),
                         Next{"nothing was written; look at `", propose(Act::list_devices), "`, then begin again"});
}

// Of the same size, and never written.
class Untouched final : public BlockDevice {
public:
    explicit Untouched(const BlockDevice& like) : like_(like) {}
    std::string name() const override { return like_.name(); }
    std::uint64_t size_bytes() const override { return like_.size_bytes(); }
    Status read_at(std::uint64_t, ByteSpan) override { return refuse(); }
    Status write_at(std::uint64_t, ByteView) override { return refuse(); }
    Status sync() override { return refuse(); }

private:
    Status refuse() const {
        return bad_input("device-read-only", name(), "is only being asked", "this is a mistake in Fettle");
    }
    const BlockDevice& like_;
};

// What the system says now of the device that is open.
Status still_agreed(const FoundDevice& agreed, const SystemView& view, const family::CardRule* rule) {
    for (const auto& d : find_devices(view)) {
        if (d.number != agreed.number || d.name != agreed.name) continue;
        const auto differs = [&](const char* what, const std::string& was, const std::string& is) {
            return changed(agreed, fmt::format("has the {} '{}' now; agreed to was '{}'", what, is, was));
        };
        if (d.serial != agreed.serial) return differs("serial", agreed.serial, d.serial);
        if (d.model != agreed.model) return differs("model", agreed.model, d.model);
        if (d.bus != agreed.bus) return differs("bus", std::string(words(agreed.bus)), std::string(words(d.bus)));
        if (d.backing != agreed.backing) return differs("file behind it", agreed.backing, d.backing);
        if (d.size_bytes != agreed.size_bytes)
            return differs("size", std::to_string(agreed.size_bytes), std::to_string(d.size_bytes));
        if (d.sequence != agreed.sequence)
            return changed(agreed, "holds another medium than the one agreed to: it was changed in between");
        return refuse_unless_erasable(d, rule);
    }
    return changed(agreed, "is not there any more");
}

}  // namespace

Status refuse_unless_erasable(const FoundDevice& device, const family::CardRule* rule) {
    for (const auto& r : may_be_erased(device, rule).reasons)
        if (r.verdict == Verdict::halt) {
            std::string said = r.text;
            if (said.starts_with(device.path + " ")) said.erase(0, device.path.size() + 1);
            if (said.ends_with('.')) said.pop_back();
            return tl::unexpected(
                Error{ErrorKind::bad_input, r.code, device.path, std::move(said),
                      Next{"`", propose(Act::list_devices), "` lists what may be a card, and why the rest is not"}});
        }
    return {};
}

Result<std::unique_ptr<BlockDevice>> open_to_erase(const FoundDevice& agreed, const family::CardRule* rule,
                                                   const std::function<Result<SystemView>()>& look) {
    const int fd = ::open(agreed.path.c_str(), O_RDWR | O_EXCL | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0) return not_opened(agreed, errno);
    auto device = device_on({fd, agreed.path, agreed.size_bytes, true, true, false});  // closes it on every way out

    struct stat st{};
    std::uint64_t size = 0;
    int read_only = 0;
    if (::fstat(fd, &st) != 0 || !S_ISBLK(st.st_mode) || ::ioctl(fd, BLKGETSIZE64, &size) != 0)
        return changed(agreed, "is no block device any more");
    if (const auto number = fmt::format("{}:{}", major(st.st_rdev), minor(st.st_rdev)); number != agreed.number)
        return changed(agreed, fmt::format("is device {} now; agreed to was {}", number, agreed.number));
    if (size != agreed.size_bytes)
        return changed(agreed, fmt::format("has {} bytes now; agreed to were {}", size, agreed.size_bytes));
    if (::ioctl(fd, BLKROGET, &read_only) == 0 && read_only != 0) return not_opened(agreed, EROFS);
    if (::flock(fd, LOCK_EX | LOCK_NB) != 0) return not_opened(agreed, EBUSY);
    auto view = look();
    if (!view) return pass(view);
    if (Status s = still_agreed(agreed, *view, rule); !s) return pass(s);
    return device;
}

Status erase_old_marks(BlockDevice& device) {
    // Enough for a GPT with its entries, for exFAT's boot region and its backup (24 sectors), for FAT32's backup boot
    // sector, and for ext's and NTFS's first structures.
    constexpr std::uint64_t edge = 34 * sector_bytes;
    const std::uint64_t size = device.size_bytes();
    const Bytes zeros(edge);
    const auto wipe = [&](std::uint64_t at, std::uint64_t length) -> Status {
        if (at >= size) return {};
        return device.write_at(at, ByteView(zeros).first(std::min({edge, length, size - at})));
    };
    const auto table = read_table(device);  // before it is gone; unreadable is no reason to keep it
    if (Status s = wipe(0, edge); !s) return s;
    if (Status s = wipe(size - std::min(size, edge), edge); !s) return s;
    if (table)
        for (const auto& p : table->partitions) {
            if (p.start >= size / sector_bytes) continue;
            const std::uint64_t start = p.start * sector_bytes;
            const std::uint64_t length = std::min(p.sectors, size / sector_bytes - p.start) * sector_bytes;
            if (Status s = wipe(start, length); !s) return s;
            if (Status s = wipe(start + length - std::min(length, edge), edge); !s) return s;
        }
    return device.sync();
}

Result<Laid> lay_device(const std::vector<SourceFile>& files, const family::CardRule& rule,
                        std::string_view release_sha256, BlockDevice& target, const Progress& progress,
                        unsigned card_number) {
    // A device may end in the middle of nowhere; the card ends with its last whole sector, which is all of it.
    const auto geometry = plan_geometry(target.size_bytes(), rule);
    if (!geometry) return pass(geometry);
    // Everything that can be refused is refused before the old card is touched: laying begins with a write, and this
    // device takes none.
    Untouched untouched(target);
    const auto refused = lay(files, rule, *geometry, release_sha256, untouched, {}, card_number);
    if (!refused && refused.error().code != "device-read-only") return pass(refused);
    if (Status s = erase_old_marks(target); !s) return pass(s);
    return lay(files, rule, *geometry, release_sha256, target, progress, card_number);
}

}  // namespace fettle::card
