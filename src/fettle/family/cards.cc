#include "fettle/family/cards.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::family {

Result<CardSplit> split_over_cards(const std::vector<std::uint64_t>& sizes, const CardRule& rule) {
    CardSplit out;
    out.card_of.assign(sizes.size(), 1);
    if (rule.in_turn.most < 2) return out;
    const std::uint64_t room = rule.in_turn.each_bytes - rule.in_turn.each_bytes / 16;
    std::uint64_t cluster = 32u << 10;
    if (!rule.cluster_kib.empty())
        cluster = std::uint64_t{*std::max_element(rule.cluster_kib.begin(), rule.cluster_kib.end())} << 10;
    std::uint64_t used = 0;
    for (std::size_t i = 0; i < sizes.size(); ++i) {
        if (sizes[i] > room / cluster * cluster)
            return bad_input("file-larger-than-card", fmt::format("file {} of {}", i + 1, sizes.size()),
                             fmt::format("has {}; a card of {} takes no such file", human_bytes(sizes[i]),
                                         human_bytes(rule.in_turn.each_bytes)),
                             "look at each_bytes of [card] in_turn in the family file");
        const std::uint64_t takes = (sizes[i] + cluster - 1) / cluster * cluster;
        if (used + takes > room) {
            ++out.cards;
            used = 0;
        }
        used += takes;
        out.card_of[i] = out.cards;
    }
    if (out.cards > rule.in_turn.most)
        return bad_input("too-many-cards", "card",
                         fmt::format("the release needs {} cards of {}; a run takes up to {}", out.cards,
                                     human_bytes(rule.in_turn.each_bytes), rule.in_turn.most),
                         "ask the release's source how it is meant to be installed");
    return out;
}

Result<CardSplit> split_release(const Family& family, const Release& release) {
    std::vector<std::uint64_t> sizes;
    bool sized = true;
    for (const Piece& p : release.pieces)
        for (const PieceFile& f : p.files) {
            sizes.push_back(f.size);
            sized = sized && f.sized;
        }
    const CardRule rule = family.card.value_or(CardRule{});
    if (rule.in_turn.most > 1 && !sized)
        return bad_input("sizes-not-known", printable(release.release),
                         "has an index without sizes; which card holds what goes by sizes",
                         "shelve the whole package, and name the release");
    return split_over_cards(sizes, rule);
}

std::vector<std::string> paths_on_card(const Release& release, const CardSplit& split, unsigned card) {
    std::vector<std::string> out;
    std::size_t i = 0;
    for (const Piece& p : release.pieces)
        for (const PieceFile& f : p.files)
            if (i < split.card_of.size() && split.card_of[i++] == card) out.push_back(f.path);
    return out;
}

}  // namespace fettle::family
