// fettle card lay, fettle card audit.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/card/audit.h"
#include "fettle/card/lay.h"

namespace fettle::app {

struct CardLayOptions {
    std::string release;    // R, or a folder: a word with a '/'
    std::string family;     // --family ID; empty when the release's name is unique on the shelf
    std::string out;        // --out IMAGE or DEVICE
    std::string size;       // --size: "512M", "8G", bytes; empty: the smallest that fits
    unsigned card = 0;      // --card N, of a release over several cards; 0: not said
    std::string yes_erase;  // --yes-erase: the whole serial of the device, when nobody is there to be asked
};
Result<Answer> card_lay(Context& context, const CardLayOptions& options);

struct CardAuditOptions {
    std::string card;     // IMAGE or DEVICE
    std::string release;  // --release R; empty: by the card's own index
    std::string family;   // --family ID; empty: the release's, or the one whose index stands on the card
    unsigned number = 0;  // --card N: which of several it should be; 0: whichever it is
};
Result<Answer> card_audit(Context& context, const CardAuditOptions& options);

// A release that may be laid, with its files in the order of the card.
struct ReleaseToLay {
    family::Family family;  // has a card rule; see `careful`
    family::Release release;
    std::string right;  // by what right it is on the shelf
    std::vector<card::SourceFile> sources;
    unsigned card = 1, cards = 1;  // of several cards: which one the files are for
    bool careful = false;          // the family file says nothing of cards: the rule is what most readers take
    bool folder = false;           // straight from a folder, not from the shelf
    Judgement remarks;             // what is to be said of it beside that
};
// What most readers take: clusters of 32 KiB where a card of this size has enough of them, else the next smaller ones;
// 0: the size is not settled, any of them.
family::CardRule careful_rule(const family::Family& family, std::uint64_t card_bytes = 0);
// The level of a family for Answer::level; "L0" where no family is known.
std::string level_of(const family::Family& family);
// Refuses a release whose right to use is unknown when `for_job` is set, and one over several cards unless `card` says
// which of them (0: not said).
Result<ReleaseToLay> release_to_lay(Context& context, const std::string& family_id, const std::string& release,
                                    bool for_job, unsigned card = 0);

// Lays a shelved release into a new image file; what rehearse needs of `card lay`. Refuses a release whose right to use
// is unknown when `for_job` is set.
struct LaidCard {
    card::Laid laid;
    family::Family family;
    family::Release release;
    std::filesystem::path image;
    std::string right;  // by what right the release is on the shelf
    unsigned card = 1, cards = 1;
    bool careful = false;
    Judgement remarks = {};
};
Reason careful_reason(const std::string& family);  // what is said of such a card
Result<LaidCard> lay_release(Context& context, const std::string& family_id, const std::string& release,
                             const std::filesystem::path& image, std::uint64_t size_bytes, bool for_job,
                             bool replace = false, unsigned card = 0);

// "536870912", "512M", "8G", "900K" (powers of 1024, a final "iB" or "B" is allowed).
Result<std::uint64_t> size_from(const std::string& text);

// "card 2 of 3 of ", or nothing where there is one.
std::string card_words(unsigned card, unsigned cards);

// " for dunnock", or nothing where no family is known.
std::string for_words(const family::Family& family);

std::string laid_text(const LaidCard& card);

// The laid card and the audit as --json shows them.
boost::json::object laid_as_json(const card::Laid& laid, const std::filesystem::path& image);
boost::json::object audit_as_json(const card::Audit& audit, const std::string& card);

// The journal's entries for them: `laid` and `audited` of docs/journal.md, with the figures above added.
NewEntry laid_entry(const LaidCard& laid);
// `wanted_release`: what it was held against; empty: its own index.
NewEntry audited_entry(const card::Audit& audit, const std::string& card, const std::string& wanted_release);

}  // namespace fettle::app
