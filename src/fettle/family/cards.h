// A release over several cards: which file stands on which card. Pure, and the same for everybody who asks (lay, audit,
// plan, ready), since it goes by sizes and the family file alone and never by the medium at hand.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::family {

struct CardSplit {
    unsigned cards = 1;
    std::vector<unsigned> card_of;  // per file of the pieces, in the order of the release: 1 to `cards`

    bool operator==(const CardSplit&) const = default;
};

// Files in turn, in the order in which the box reads them: a card takes files until the next one would bring it above
// fifteen sixteenths of card.in_turn.each_bytes, then the next card begins. Each file counts as whole clusters of the
// largest size that the family takes (32 KiB where it does not say). The sixteenth left is for table, FATs, folders,
// index and signature. A family with one card: everything on it, whatever the size; laying says whether that fits.
// bad_input: `too-many-cards` (a run takes fewer than it would need), `file-larger-than-card`.
Result<CardSplit> split_over_cards(const std::vector<std::uint64_t>& sizes, const CardRule& rule);

// The same for a release's pieces; further bad_input `sizes-not-known` where several cards are possible and the index
// gives no sizes that were ever seen. Without a card rule: one card.
Result<CardSplit> split_release(const Family& family, const Release& release);

// The paths (in the package) of what stands on that card besides index and signature, in the order of the release.
std::vector<std::string> paths_on_card(const Release& release, const CardSplit& split, unsigned card);

}  // namespace fettle::family
