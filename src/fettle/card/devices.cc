#include "fettle/card/devices.h"

#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"

namespace fettle::card {
namespace {

constexpr std::size_t longest_text = 64;

std::string base_name(std::string_view path) {
    return std::string(path.substr(path.rfind('/') + 1));
}

std::string above(const std::string& path) {
    const auto slash = path.rfind('/');
    return slash == std::string::npos ? std::string() : path.substr(0, slash);
}

// For the eye: a device may call itself anything.
std::string shown(std::string_view text) {
    std::string out = printable(trim(text));
    if (out.size() > longest_text) out = printable(trim(text.substr(0, longest_text))) + "…";
    return out;
}

// "\040" and the like, as the kernel writes blanks in the list of mounts.
std::string without_octal(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const auto digit = [&](std::size_t k) { return text[i + k] >= '0' && text[i + k] <= '7'; };
        if (text[i] == '\\' && i + 3 < text.size() && digit(1) && digit(2) && digit(3)) {
            out += static_cast<char>((text[i + 1] - '0') * 64 + (text[i + 2] - '0') * 8 + (text[i + 3] - '0'));
            i += 3;
        } else {
            out += text[i];
        }
    }
    return out;
}

bool needed_by_system(const std::string& at) {
    if (at == "/") return true;
    static constexpr std::string_view places[] = {"/boot",          "/usr",      "/var",   "/etc",     "/home",
                                                  "/opt",           "/srv",      "/nix",   "/efi",     "/sysroot",
                                                  "/run/initramfs", "/run/live", "/cdrom", "/lib/live"};
    return std::any_of(std::begin(places), std::end(places),
                       [&](std::string_view p) { return at == p || (at.starts_with(p) && at[p.size()] == '/'); });
}

class Finder {
public:
    explicit Finder(const SystemView& view) : view_(view) {}

    std::vector<FoundDevice> find() {
        for (const auto& [link, at] : view_.links)
            if (link.starts_with("/sys/class/block/")) at_[base_name(link)] = at;
        std::vector<FoundDevice> out;
        for (const auto& [name, at] : at_) out.push_back(describe(name, at));
        for (const auto& d : out) numbers_[d.number].push_back(d.name);
        for (auto& d : out)
            for (const auto& p : out)
                if (p.whole == d.name) d.partitions.push_back(p.name);
        read_users();
        for (auto& d : out) gather(d);
        return out;
    }

private:
    const std::string* file(const std::string& path) const {
        const auto it = view_.files.find(path);
        return it == view_.files.end() ? nullptr : &it->second;
    }
    std::string text(const std::string& path) const {
        const auto* f = file(path);
        return f ? shown(*f) : std::string();
    }

    FoundDevice describe(const std::string& name, const std::string& at) const {
        FoundDevice d;
        d.name = shown(name);
        d.path = "/dev/" + d.name;
        if (d.name != name) return d;  // no system names a device so; who uses it could not be looked up
        d.number = text(at + "/dev");
        const auto* size = file(at + "/size");
        const std::uint64_t sectors = size ? number_in<std::uint64_t>(trim(*size)).value_or(0) : 0;
        d.size_bytes = sectors < std::uint64_t{1} << 54 ? sectors * 512 : 0;
        d.removable = text(at + "/removable") == "1";
        d.read_only = text(at + "/ro") == "1";
        d.rotating = text(at + "/queue/rotational") == "1";
        d.sequence = text(at + "/diskseq");
        d.backing = text(at + "/loop/backing_file");
        if (file(at + "/partition")) d.whole = base_name(above(at));
        find_bus(d, at);
        return d;
    }

    void find_bus(FoundDevice& d, const std::string& at) const {
        const std::string& n = d.name;
        if (at.starts_with("/sys/devices/virtual/")) {
            d.bus = n.starts_with("loop")                           ? Bus::loop
                    : n.starts_with("dm-") || n.starts_with("md")   ? Bus::mapped
                    : n.starts_with("zram") || n.starts_with("ram") ? Bus::memory
                    : at.find("/nvme") != std::string::npos         ? Bus::nvme
                                                                    : Bus::unknown;
            if (d.bus != Bus::nvme) return;
        }
        // From the device up to the root of the machine: the nearest bus is the one it sits on.
        std::string scsi_type;
        bool scsi = false, ata = false;
        for (std::string up = above(at); up.size() > std::string_view("/sys/devices").size(); up = above(up)) {
            const auto link = view_.links.find(up + "/subsystem");
            const std::string kind = link == view_.links.end() ? std::string() : base_name(link->second);
            if (kind == "mmc" && d.bus == Bus::unknown) {
                d.card_type = text(up + "/type");
                d.bus = d.card_type == "SD" || d.card_type == "SDcombo" ? Bus::sd
                        : d.card_type == "MMC"                          ? Bus::soldered
                                                                        : Bus::unknown;
                d.model = text(up + "/name");
                d.serial = text(up + "/serial");
                d.serial_of = "the card";
                return;
            }
            if (kind.starts_with("nvme") && d.bus != Bus::usb) {
                d.bus = Bus::nvme;
                if (d.model.empty()) d.model = text(up + "/model");
                if (d.serial.empty()) d.serial = text(up + "/serial");
            }
            if (kind == "scsi" && file(up + "/type")) {
                scsi = true;
                scsi_type = text(up + "/type");
                d.model = text(up + "/vendor");
                d.model += (d.model.empty() ? "" : " ") + text(up + "/model");
            }
            ata = ata || base_name(up).starts_with("ata");
            if (kind == "virtio") d.bus = Bus::virtio;
            if (kind == "usb" && d.bus == Bus::unknown && (file(up + "/product") || file(up + "/serial"))) {
                d.bus = Bus::usb;
                d.serial = text(up + "/serial");
                d.serial_of = "the stick or reader";
                if (d.model.empty()) d.model = text(up + "/product");
                break;
            }
            if (kind == "usb" && d.bus == Bus::unknown && base_name(up).starts_with("usb")) d.bus = Bus::usb;
        }
        if (d.bus == Bus::unknown && scsi) d.bus = ata ? Bus::sata : Bus::scsi;
        // On USB a disk is type 0 of SCSI; an optical drive or a tape is not, and what does not say is not known.
        if ((d.bus == Bus::usb || scsi) && scsi_type != "0") d.bus = Bus::unknown;
        const bool one_character =
            d.serial.find_first_not_of(d.serial.empty() ? '0' : d.serial[0]) == std::string::npos;
        if (one_character) d.serial.clear();  // "000000000000": none at all
    }

    // Which devices a name of the mounts or swaps stands for.
    std::string device_named(const std::string& source) const {
        const auto it = view_.links.find(source);
        return base_name(it == view_.links.end() ? source : it->second);
    }

    void read_users() {
        if (const auto* mounts = file("/proc/self/mountinfo"))
            for (const auto& line : split(*mounts, '\n')) {
                const auto words = split(line, ' ');
                const auto dash = std::find(words.begin(), words.end(), "-");
                if (words.size() < 6) continue;
                const std::string where = without_octal(words[4]);
                const Use use{Use::mounted, {}, shown(where), needed_by_system(where)};
                std::set<std::string> nodes;
                if (const auto n = numbers_.find(words[2]); n != numbers_.end())
                    nodes.insert(n->second.begin(), n->second.end());
                if (words.end() - dash > 2 && dash[2].starts_with("/dev/")) nodes.insert(device_named(dash[2]));
                for (const auto& node : nodes) users_[node].push_back(use);
            }
        if (const auto* swaps = file("/proc/swaps"))
            for (const auto& line : split(*swaps, '\n'))
                if (line.starts_with("/dev/"))
                    users_[device_named(without_octal(split(line, ' ').front()))].push_back(
                        {Use::swap, {}, "swap", true});
    }

    void gather(FoundDevice& d) const {
        std::set<std::string> seen;
        gather_node(d.name, d.uses, seen);
        for (const auto& p : d.partitions) gather_node(p, d.uses, seen);
    }

    void gather_node(const std::string& node, std::vector<Use>& uses, std::set<std::string>& seen) const {
        if (!seen.insert(node).second) return;
        const auto at = at_.find(node);
        if (const auto mine = users_.find(node); mine != users_.end())
            for (auto use : mine->second) {
                use.node = node;
                uses.push_back(std::move(use));
            }
        if (at == at_.end()) return;
        const std::string folder = at->second + "/holders/";
        for (auto it = view_.files.lower_bound(folder); it != view_.files.end() && it->first.starts_with(folder);
             ++it) {
            const std::string holder = base_name(it->first);
            uses.push_back({Use::held, node, shown(holder), false});
            gather_node(holder, uses, seen);
        }
    }

    const SystemView& view_;
    std::map<std::string, std::string> at_;                    // name → where it stands under /sys/devices
    std::map<std::string, std::vector<std::string>> numbers_;  // "8:16" → names
    std::map<std::string, std::vector<Use>> users_;            // by name
};

}  // namespace

std::string_view words(Bus b) {
    switch (b) {
        case Bus::sd: return "SD slot";
        case Bus::soldered: return "soldered memory (eMMC)";
        case Bus::usb: return "USB";
        case Bus::sata: return "SATA";
        case Bus::nvme: return "NVMe";
        case Bus::scsi: return "SCSI";
        case Bus::virtio: return "virtual disk";
        case Bus::loop: return "loop device";
        case Bus::mapped: return "mapped device";
        case Bus::memory: return "memory";
        case Bus::unknown: break;
    }
    return "unknown bus";
}

std::string FoundDevice::to_agree() const {
    return serial.empty() ? std::to_string(size_bytes) : serial;
}

std::vector<FoundDevice> find_devices(const SystemView& view) {
    return Finder(view).find();
}

bool agrees(const FoundDevice& device, std::string_view typed, bool last_characters) {
    const std::string wanted = lower(device.to_agree()), given = lower(trim(typed));
    if (given.empty()) return false;
    if (given == wanted) return true;
    return last_characters && given.size() >= 4 && wanted.ends_with(given);
}

bool named_in(const FoundDevice& device, std::string_view text) {
    if (device.serial.empty()) return false;
    static constexpr std::string_view around = " \t\n,;:.()[]'\"#";
    while (!text.empty()) {
        const auto from = text.find_first_not_of(around);
        if (from == std::string_view::npos) return false;
        const auto length = std::min(text.find_first_of(around, from), text.size()) - from;
        if (agrees(device, text.substr(from, length), true)) return true;
        text.remove_prefix(from + length);
    }
    return false;
}

}  // namespace fettle::card
