#include "fettle/family/release.h"

namespace fettle::family {

std::uint64_t Piece::bytes() const {
    std::uint64_t sum = 0;
    for (const PieceFile& f : files) sum += f.size;
    return sum;
}

std::uint64_t Release::bytes() const {
    std::uint64_t sum = 0;
    for (const Piece& p : pieces) sum += p.bytes();
    return sum;
}

const Piece* Release::piece(std::string_view box, std::string_view name) const {
    for (const Piece& p : pieces)
        if (p.box == box && p.name == name) return &p;
    return nullptr;
}

void fill_sizes(Release& release, const std::function<std::optional<std::uint64_t>(const std::string&)>& size_of) {
    for (Piece& p : release.pieces)
        for (PieceFile& f : p.files)
            if (!f.sized)
                if (const auto size = size_of(f.path)) f.size = *size;
}

}  // namespace fettle::family
