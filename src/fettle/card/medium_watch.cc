#include "fettle/card/medium_watch.h"

#include <fmt/core.h>

#include <algorithm>
#include <cstring>

#include "fettle/base/text.h"
#include "fettle/card/geometry.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t least_zeros = 4096;  // a choice: the smallest block that flash is written in
constexpr std::size_t table_at = 440;        // of a table's sector: disk signature, entries, mark

Next gauge() {
    return Next{"gauge the card: ", propose(Act::gauge_card, {wanted("device", "DEVICE")}),
                "; of an image, the card that it was copied from"};
}

}  // namespace

MediumWatch::MediumWatch(BlockDevice& device) : sector0_(sector_bytes) {
    if (!device.read_at(0, sector0_) || load_le16(sector0_, 510) != 0xAA55) sector0_.clear();
}

void MediumWatch::take(ByteView block) {
    const auto last = std::find_if(block.rbegin(), block.rend(), [](Byte b) { return b != 0; });
    if (last != block.rend()) seen_.zeros_from = seen_.bytes + static_cast<std::uint64_t>(block.rend() - last);
    if (!sector0_.empty() && !seen_.first_sector_at && seen_.bytes % sector_bytes == 0)
        for (std::size_t i = 0; i + sector_bytes <= block.size(); i += sector_bytes)
            if (std::memcmp(block.data() + i + table_at, sector0_.data() + table_at, sector_bytes - table_at) == 0 &&
                std::memcmp(block.data() + i, sector0_.data(), table_at) == 0) {
                seen_.first_sector_at = seen_.bytes + i;
                break;
            }
    seen_.bytes += block.size();
}

void judge_medium(AuditState& s, const std::vector<ReadOfMedium>& read) {
    for (const ReadOfMedium& r : read) {
        if (r.wanted->right || !r.seen.first_sector_at) continue;
        const std::uint64_t at = r.wanted->node->at + *r.seen.first_sector_at;
        s.out.judgement.add(Reason{
            "begins-again", Verdict::halt,
            fmt::format("In '{}' the card's own first sector stands again, {} behind its start: the card seems to "
                        "begin again there, and what is written beyond lands on what was written before. Take "
                        "another card.",
                        printable(r.wanted->path), human_bytes(at)),
            r.wanted->path, "bytes read", gauge()});
        break;
    }
    // From the end of the card backwards: wrong files of nothing but zeros, and one that ends in them.
    std::uint64_t zeros = 0;
    const ReadOfMedium* first = nullptr;
    for (auto r = read.rbegin(); r != read.rend() && !r->wanted->right; ++r) {
        if (r->seen.zeros_from == r->seen.bytes) break;
        zeros += r->seen.bytes - r->seen.zeros_from;
        first = &*r;
        if (r->seen.zeros_from != 0) break;
    }
    if (zeros < least_zeros) return;
    s.out.judgement.add(Reason{
        "zeros-from", Verdict::halt,
        fmt::format("From byte {} of '{}' on everything that was read of the card is zeros: it may hold less than it "
                    "says, or was not copied to its end. Lay it again on another card.",
                    first->seen.zeros_from, printable(first->wanted->path)),
        first->wanted->path, "bytes read", gauge()});
}

}  // namespace fettle::card
