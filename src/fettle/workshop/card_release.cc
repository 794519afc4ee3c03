#include "fettle/workshop/card_release.h"

#include <fmt/core.h>

#include <memory>
#include <set>

#include "fettle/base/text.h"
#include "fettle/card/careful.h"
#include "fettle/family/cards.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/families.h"

namespace fettle::workshop {
namespace {

using Files = std::vector<family::PieceFile>;

// Which of the release's cards is meant; sets card and cards.
Status name_card(unsigned asked, ReleaseToLay& out) {
    const std::string release = printable(out.release.release);
    if (asked > out.cards && out.cards > 1)
        return usage_error(
            "card-not-named", with(flag("card")),
            fmt::format("{} takes {} cards; there is no card {}", release, out.cards, asked),
            Next{"take one of ", with(given("card", "1")), " to ", with(given("card", std::to_string(out.cards)))});
    if (asked > 1 && out.cards == 1)
        return usage_error("card-not-named", with(flag("card")), fmt::format("{} takes one card", release),
                           Next{"leave ", with(flag("card")), " out"});
    if (asked == 0 && out.cards > 1)
        return usage_error(
            "card-not-named", with(flag("card")),
            fmt::format("{} takes {} cards, one after the other; which one was not said", release, out.cards),
            Next{"lay each on a card of its own: ", with(given("card", "1")), " to ",
                 with(given("card", std::to_string(out.cards)))});
    out.card = asked == 0 ? 1 : asked;
    return {};
}

// Of a release over several cards: what stands on another one than this.
std::set<std::string> on_other_cards(const ReleaseToLay& r, const family::CardSplit& split, const Files& files) {
    std::set<std::string> pieces, out;
    for (const auto& p : r.release.pieces)
        for (const auto& f : p.files) pieces.insert(f.path);
    const bool index = r.card == 1 || r.family.card->in_turn.index_on_every;
    for (const auto& f : files)
        if (pieces.contains(f.path) || !index) out.insert(f.path);
    for (const auto& path : family::paths_on_card(r.release, split, r.card)) out.erase(path);
    return out;
}

Status add_sources(const std::shared_ptr<const shelf::Shelf>& shelf, unsigned asked, ReleaseToLay& out) {
    const auto files = shelf->files(out.family.id, out.release.release);
    if (!files) return pass(files);
    const auto split = family::split_release(out.family, out.release);
    if (!split) return pass(split);
    out.cards = split->cards;
    if (const Status named = name_card(asked, out); !named) return named;
    const auto elsewhere = out.cards > 1 ? on_other_cards(out, *split, *files) : std::set<std::string>();
    const std::string prefix = card::card_prefix(out.family);
    for (const auto& f : *files) {
        if (elsewhere.contains(f.path)) continue;
        const auto sha = f.digests.find("sha256");
        out.sources.push_back(
            {prefix + f.path, f.size, sha == f.digests.end() ? std::string() : sha->second,
             [shelf, id = out.family.id, release = out.release.release, path = f.path](const card::Sink& sink) {
                 return shelf->read_for_digest(id, release, path, sink);  // laying takes it
             }});
    }
    return {};
}

Result<ReleaseToLay> folder_asked(const Workshop& shop, const ReleaseAsked& asked, bool for_job) {
    if (for_job)
        return usage_error(
            "folder-for-job", asked.release, "is a folder; a job's card is laid from the shelf",
            Next{"shelve it first (", propose(Act::add_to_shelf), "), or leave ", with(flag("job")), " out"});
    if (asked.card > 1)
        return usage_error("card-not-named", with(flag("card")), "a folder is laid on one card",
                           Next{"leave ", with(flag("card")), " out"});
    return folder_to_lay(shop, asked.family, asked.release);
}

}  // namespace

bool names_folder(const std::string& release) {
    return release.find('/') != std::string::npos;
}

Result<ReleaseToLay> release_to_lay(const Workshop& shop, const ReleaseAsked& asked, bool for_job) {
    if (names_folder(asked.release)) return folder_asked(shop, asked, for_job);
    auto opened = shelf::Shelf::open(shop.shelf_folder());
    if (!opened) return pass(opened);
    const auto shelf = std::make_shared<const shelf::Shelf>(std::move(*opened));
    auto shelved = shelf->find(asked.family, asked.release);
    if (!shelved) return pass(shelved);
    if (for_job && shelved->slip.right == shelf::Right::unknown)
        return bad_input(
            "right-unknown", asked.release,
            "is on the shelf with an unknown right to use; it can be looked at but not laid for a job",
            Next{"shelve it again with ", with(flag("from")), " and ", with(flag("right")), " once that is settled"});
    if (shelved->index_only)
        return bad_input("index-only", asked.release, "is on the shelf by its index only; its files are not there",
                         "shelve the whole package first");
    auto family = load_family_by_id(shop, shelved->family);
    if (!family) return pass(family);
    ReleaseToLay out;
    out.family = std::move(*family);
    out.release = std::move(shelved->release);
    out.right = shelf::words(shelved->slip.right);
    out.careful = !out.family.card;
    if (out.careful) out.family.card = card::careful_rule(out.family);
    if (const Status added = add_sources(shelf, asked.card, out); !added) return pass(added);
    return out;
}

}  // namespace fettle::workshop
