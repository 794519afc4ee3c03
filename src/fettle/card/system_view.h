// What the system says of its block devices, as plain text: the parts of /sys and /proc that tell which device is what
// and who uses it. Read from the running system by read_system, or written by hand for a test; find_devices
// (devices.h) reads nothing else.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <string_view>

#include "fettle/base/result.h"

namespace fettle::card {

struct SystemView {
    // Path → content without its final newline, at most 4 KiB each (mounts and swaps: 1 MiB). A folder's entries stand
    // as files without content ("…/holders/dm-0").
    std::map<std::string, std::string> files;
    // Path → where it leads in the end, absolute: "/sys/class/block/sdb" → "/sys/devices/…/block/sdb",
    // "/dev/mapper/root" → "/dev/dm-0".
    std::map<std::string, std::string> links;
};

// The running system, or a made-up tree below another root. Reads at most 4,096 devices; follows no link out of `root`.
// outside `devices-not-listed` when there is no /sys/class/block.
Result<SystemView> read_system(const std::filesystem::path& root = "/");

// The same, written by hand: "PATH -> PATH" is a link, "PATH = TEXT" a file, "PATH:" a file whose lines follow, each
// after four blanks; "#" begins a remark, empty lines are passed over. bad_input names the line.
Result<SystemView> parse_system_view(std::string_view text, std::string_view place);

}  // namespace fettle::card
