// What the walks over FAT and exFAT folders share.
#include "fettle/card/reader.h"
#include "fettle/card/volume_state.h"

namespace fettle::card {

void Gathered::flaw(FlawKind kind, const std::string& path, std::string text) {
    const std::size_t bytes = path.size() + text.size();
    if (out.flaws.size() >= most_flaws || flaw_bytes + bytes > most_flaw_bytes) {
        ++out.flaws_left_out;
        return;
    }
    flaw_bytes += bytes;
    out.flaws.push_back({kind, path, std::move(text)});
}

bool Gathered::room_for(const Node& n, const std::string& folder) {
    path_bytes += n.path.size();
    if (out.nodes.size() < most_nodes && path_bytes <= most_path_bytes) return true;
    if (!full) flaw(FlawKind::too_many, folder, "holds more than this reader takes; the rest was not read");
    full = true;
    return false;
}

const Node* Listing::find(std::string_view path) const {
    for (const auto& n : nodes)
        if (n.path == path) return &n;
    return nullptr;
}

Result<Listing> Volume::list(bool scan_fat) {
    if (state_->type == FatType::exfat) return list_exfat(*state_, scan_fat);
    if (state_->type == FatType::fat32 && !boot().wide)
        return bad_input("fat-type-unclear", "boot sector", "has no root cluster to start from", "lay the card again");
    return list_fat(*state_, scan_fat);
}

}  // namespace fettle::card
