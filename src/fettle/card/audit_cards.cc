// Of a release over several cards: which one is this? By what stands on it, since that is what the box goes by; the
// volume's serial, which laying gives, decides only where that leaves it open.
#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/card/audit_content.h"
#include "fettle/card/layout.h"
#include "fettle/family/cards.h"

namespace fettle::card {
namespace {

std::vector<std::string> all_paths(const family::Release& r) {
    std::vector<std::string> out;
    for (const auto& p : r.pieces)
        for (const auto& f : p.files) out.push_back(f.path);
    return out;
}

// What of these stands here, at its place or under a folder.
std::size_t there(const ContentAudit& c, const std::vector<std::string>& paths) {
    std::size_t n = 0;
    for (const auto& p : paths) n += c.look.prefixes(c.on_card(p)).empty() ? 0 : 1;
    return n;
}

// 0: the serial names none.
unsigned card_by_serial(const ContentAudit& c, const family::Release& r, unsigned cards) {
    const auto id = unhex(r.index_sha256);
    if (!id || id->size() < 4) return 0;
    const std::uint32_t n = c.volume.boot().serial - volume_serial(*id, 1);
    return n < cards ? n + 1 : 0;
}

}  // namespace

bool ContentAudit::further_card_without_index() const {
    const auto* rule = s.rule();
    return rule && rule->in_turn.most > 1 && !rule->in_turn.index_on_every && s.out.card > 1;
}

std::vector<std::string> choose_card(ContentAudit& c, const family::Release& r) {
    if (!c.family()) return all_paths(r);
    const auto split = family::split_release(*c.family(), r);
    if (!split) {
        c.s.out.cards = 0;
        const Error& e = split.error();
        c.s.out.judgement.add(
            Reason{e.code, e.code == "sizes-not-known" ? Verdict::cant_say : Verdict::halt,
                   fmt::format("Which files belong on this card is not known: {} {}.", printable(r.release), e.problem),
                   e.place.words(), by_family, e.next});
        std::vector<std::string> here;  // what is missing cannot be told
        for (auto& p : all_paths(r))
            if (!c.look.prefixes(c.on_card(p)).empty()) here.push_back(std::move(p));
        return here;
    }
    c.s.out.cards = split->cards;
    const unsigned asked = c.s.request.card;
    if (asked > split->cards)
        c.s.add("other-card", Verdict::halt,
                split->cards == 1
                    ? fmt::format("Release {} takes one card; there is no card {}. Take the one that there is.",
                                  printable(r.release), asked)
                    : fmt::format("Release {} takes {} cards; there is no card {}. Take one that there is.",
                                  printable(r.release), split->cards, asked),
                "", by_family);
    if (split->cards == 1) return all_paths(r);

    std::vector<std::vector<std::string>> paths(split->cards + 1);
    std::vector<std::size_t> found(split->cards + 1);
    unsigned best = card_by_serial(c, r, split->cards);
    if (best == 0) best = asked >= 1 && asked <= split->cards ? asked : 1;
    for (unsigned n = 1; n <= split->cards; ++n) {
        paths[n] = family::paths_on_card(r, *split, n);
        found[n] = there(c, paths[n]);
    }
    for (unsigned n = 1; n <= split->cards; ++n)
        if (found[n] > found[best]) best = n;
    c.s.out.card = best;
    if (asked != 0 && asked <= split->cards && asked != best)
        c.s.add("other-card", Verdict::halt,
                fmt::format("This is card {} of {} of release {}; wanted is card {}. Take that one.", best,
                            split->cards, printable(r.release), asked),
                "", "what stands on it");
    return paths[best];
}

}  // namespace fettle::card
