#include "fettle/workshop/audit_card.h"

#include "fettle/base/text.h"
#include "fettle/card/card.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/card_entries.h"
#include "fettle/workshop/card_of_job.h"
#include "fettle/workshop/card_release.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// Whether the family's index stands on the card: at its place, or under one extra folder (the audit tells which).
bool has_index_of(const family::Family& f, const card::Listing& listing, card::Volume& volume) {
    if (!f.card || !f.package) return false;
    const std::string key = card::name_key(f.card->index_at);
    for (const auto& n : listing.nodes) {
        const std::string at = card::name_key(n.path);
        if (n.folder || !(at == key || at.ends_with("/" + key))) continue;
        const auto bytes = volume.read_all(n, 8u << 20);
        if (!bytes) continue;
        const auto release = family::read_index(f, as_text(*bytes));
        if (release && release->family == f.id) return true;
    }
    return false;
}

// The family whose index stands on this card, when just one does: of two that would do it is not for us to choose.
Result<std::optional<family::Family>> family_on_card(const Workshop& shop, card::BlockDevice& device) {
    std::optional<family::Family> found;
    auto volume = card::Volume::open(device);
    if (!volume) return found;
    const auto listing = volume->list();
    if (!listing) return found;
    auto families = load_families(shop);
    if (!families) return pass(families);
    for (family::Family& f : *families) {
        if (!has_index_of(f, *listing, *volume)) continue;
        if (found) return std::optional<family::Family>();
        found = std::move(f);
    }
    return found;
}

// What the card is held against.
struct Against {
    std::optional<family::Family> family;
    std::optional<family::Release> release;
    Judgement remarks;
};

// For a job the card is held against the job's family, whichever release numbers others have.
Result<Against> against(const Workshop& shop, const AuditRequest& asked, const std::optional<book::Job>& job,
                        card::BlockDevice& device) {
    Against out;
    AuditRequest request = asked;
    if (job && request.family.empty()) request.family = job->family;
    if (names_folder(request.release)) {
        auto folder = folder_to_audit(shop, request.family, request.release);
        if (!folder) return pass(folder);
        if (!folder->family.id.empty()) out.family = std::move(folder->family);
        out.release = std::move(folder->release);
        out.remarks.add({"folder-not-vetted", Verdict::mind,
                         "Held against a folder as it is now; who made it, and what it claims, was not vetted.",
                         printable(request.release), "digests of the folder's files"});
        return out;
    }
    std::string family = request.family;
    if (!request.release.empty()) {
        const auto shelf = shelf::Shelf::open(shop.shelf_folder());
        if (!shelf) return pass(shelf);
        auto shelved = shelf->find(request.family, request.release);
        if (!shelved) return pass(shelved);
        family = shelved->family;
        out.release = std::move(shelved->release);
    }
    auto known = family.empty() ? family_on_card(shop, device) : family_if_named(shop, family);
    if (!known) return pass(known);
    out.family = std::move(*known);
    return out;
}

// The other releases on the shelf: a file that differs may be one of theirs. A shelf that cannot be read costs that
// answer and no other.
std::vector<shelf::Shelved> others_of(const Workshop& shop, const std::optional<family::Family>& family) {
    std::error_code ec;
    if (!family || !std::filesystem::exists(shop.shelf_folder(), ec)) return {};
    const auto shelf = shelf::Shelf::open(shop.shelf_folder());
    if (!shelf) return {};
    auto all = shelf->list(family->id);
    return all ? std::move(*all) : std::vector<shelf::Shelved>();
}

// Is it this job's card? Its index may be one that only another family's file can read.
Result<Judgement> whose_card(const Workshop& shop, const book::Job& job, AuditedCard& c, card::BlockDevice& device) {
    OnCard on{c.audit.family, c.audit.markets, c.audit.release};
    if (on.family.empty()) {
        auto other = family_on_card(shop, device);
        if (!other) return pass(other);
        if (*other) on.family = c.audit.family = (*other)->id;
    }
    if (on.family.empty() && c.family) on.family = c.family->id;  // a further card without an index
    if (on.release.empty() && c.wanted_release) on.release = *c.wanted_release;
    return against_job(job, on);
}

}  // namespace

Result<AuditedCard> audit_card(const Workshop& shop, const AuditRequest& request) {
    std::optional<book::Job> job;
    if (!request.job.empty()) {
        auto loaded = load_job(shop, request.job);
        if (!loaded) return pass(loaded);
        job = std::move(*loaded);
    }
    const auto device = card::open_for_reading(request.card);
    if (!device) return pass(device);
    auto held = against(shop, request, job, **device);
    if (!held) return pass(held);
    card::AuditRequest ask;
    ask.family = held->family ? &*held->family : nullptr;
    ask.release = held->release ? &*held->release : nullptr;
    const auto others = others_of(shop, held->family);
    for (const auto& o : others) ask.others.push_back(&o.release);
    ask.card = request.number;
    ask.now = shop.clock->now();
    ask.progress = [&](std::uint64_t done, std::uint64_t total) {
        if (shop.progress) shop.progress("auditing", done, total);
    };
    auto audit = card::audit(**device, ask);
    if (!audit) return pass(audit);

    AuditedCard out;
    out.card = request.card;
    out.judgement = audit->judgement;
    out.judgement.add(std::move(held->remarks));
    out.audit = std::move(*audit);
    out.family = std::move(held->family);
    if (held->release) out.wanted_release = held->release->release;
    if (out.family && !out.family->card)
        out.judgement.add(
            {"card-rules-not-known", Verdict::mind,
             "The family file says nothing of cards: whether this box takes one that is laid so is not known.",
             out.family->id, "no [card] in the family file"});
    if (!job) return out;
    auto against = whose_card(shop, *job, out, **device);
    if (!against) return pass(against);
    out.judgement.add(std::move(*against));
    out.audit.sentence = card::sentence_of(out.judgement);
    const NewEntry entry = audited_entry(out);
    if (const Status kept = append_entries(shop, request.job, {entry}); !kept) return pass(kept);
    return out;
}

}  // namespace fettle::workshop
