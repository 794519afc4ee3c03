// What would be lost, in words.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/lay_device.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr std::size_t most_partitions = 8;
constexpr std::size_t most_names = 4;

std::string files_of(Volume& volume, const std::string& kind) {
    const auto listing = volume.list();
    const std::string label = printable(listing && !listing->label.empty() ? listing->label : volume.boot().label);
    std::string out = kind + (label.empty() || label == "NO NAME" ? "" : fmt::format(" '{}'", label));
    if (!listing) return out + ", its folders cannot be read";
    std::uint64_t files = 0, bytes = 0;
    std::vector<std::string> top;
    for (const auto& n : listing->nodes) {
        files += n.folder ? 0 : 1;
        bytes += n.folder ? 0 : n.size;
        if (n.path.find('/') == std::string::npos) top.push_back(printable(n.path));
    }
    out += fmt::format(", {}, {}", plural(files, "file"), human_bytes(bytes));
    if (top.empty()) return out;
    const std::size_t left_out = top.size() > most_names ? top.size() - most_names : 0;
    if (left_out) top.resize(most_names);
    return out + ": " + join(top, ", ") + (left_out ? fmt::format(" and {} more", left_out) : "");
}

std::string volume_at(BlockDevice& device, std::uint64_t at) {
    const std::string kind = file_system_at(device, at);
    if (kind.empty()) return "nothing that Fettle knows by its mark";
    auto volume = Volume::open_at(device, at);
    if (!volume) return kind + ", whose files Fettle does not look into";
    return files_of(*volume, words(volume->type()));
}

}  // namespace

std::vector<std::string> what_is_on(BlockDevice& device) {
    const auto table = read_table(device);
    if (!table) return {"its first sector cannot be read: " + table.error().problem};
    if (table->kind == TableKind::none) return {"no partition table; at its start " + volume_at(device, 0)};
    std::vector<std::string> out;
    out.push_back(fmt::format("{} with {}", table->kind == TableKind::gpt ? "GPT" : "MBR",
                              plural(table->partitions.size(), "partition")));
    for (std::size_t i = 0; i < table->partitions.size(); ++i) {
        if (i == most_partitions) {
            out.push_back(fmt::format("and {} more", table->partitions.size() - i));
            break;
        }
        const auto& p = table->partitions[i];
        const bool inside = p.start < device.size_bytes() / sector_bytes;
        out.push_back(fmt::format(
            "partition {}, {}: {}", i + 1,
            human_bytes(std::min<std::uint64_t>(p.sectors, std::uint64_t{1} << 45) * sector_bytes),
            inside ? volume_at(device, p.start * sector_bytes) : std::string("begins behind the end of the card")));
    }
    return out;
}

}  // namespace fettle::card
