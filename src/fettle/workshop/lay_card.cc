#include "fettle/workshop/lay_card.h"

#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/card/careful.h"
#include "fettle/workshop/card_entries.h"
#include "fettle/workshop/card_of_job.h"
#include "fettle/workshop/gauge_state.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

card::Progress told(const Workshop& shop) {
    return [&shop](std::uint64_t done, std::uint64_t total) {
        if (shop.progress) shop.progress(done * 2 <= total ? "laying" : "reading back", done, total);
    };
}

LaidCard laid_card(card::Laid laid, const ReleaseToLay& r, const std::filesystem::path& target) {
    LaidCard out;
    out.laid = std::move(laid);
    out.family = r.family;
    out.release = r.release;
    out.target = target;
    out.right = r.right;
    out.card = r.card;
    out.cards = r.cards;
    return out;
}

Result<LaidCard> into_image(const Workshop& shop, const LayRequest& request, ReleaseToLay& r) {
    if (r.careful) r.family.card = card::careful_rule(r.family, request.size_bytes);
    auto laid = card::lay_image(r.sources, *r.family.card, request.size_bytes, r.release.index_sha256, request.out,
                                /*replace=*/false, told(shop), r.card);
    if (!laid) return pass(laid);
    LaidCard out = laid_card(std::move(*laid), r, request.out);
    out.judgement.add(Reason{"card-laid", Verdict::fit, "Every written byte reads back as it was written.",
                             printable(request.out), "digest"});
    if (r.careful) out.judgement.add(card::careful_reason(r.family.id));
    out.judgement.add(r.remarks);
    return out;
}

// Before anything is written.
Status refuse_another_jobs(const book::Job& job, const ReleaseToLay& r) {
    Judgement against = against_job(job, {r.family.id, r.release.markets, r.release.release});
    if (against.reasons.empty()) return {};
    Reason& first = against.reasons.front();
    first.text.pop_back();  // an error's clause has no full stop
    return bad_input(first.code, "job " + job.number, first.text, first.next);
}

Reason read_back(const card::Laid& laid, const std::string& path) {
    if (laid.cold)
        return {"card-laid", Verdict::fit, "Every written byte reads back as it was written.", path,
                "digest, read past the system's memory"};
    return {"read-back-warm", Verdict::cant_say,
            "Every byte reads back, but perhaps from the system's memory: pull the card, put it back, and audit it.",
            path, "digest"};
}

Result<LaidCard> onto_device(const Workshop& shop, const LayRequest& request, ReleaseToLay& r) {
    const auto device = device_named(request.out);
    if (!device) return pass(device);
    if (r.careful) r.family.card = card::careful_rule(r.family, device->size_bytes);
    const family::CardRule* known_rule = r.careful ? nullptr : &*r.family.card;  // what may be erased: nobody's default
    if (const Status s = card::refuse_unless_erasable(*device, known_rule); !s) return pass(s);
    auto question = erase_question(*device, card::may_be_erased(*device, known_rule),
                                   "to lay " + card_words(r.card, r.cards) + printable(r.release.release));
    if (!question) return pass(question);
    if (const Status s = agree_to_erase(*question, request.consent); !s) return pass(s);
    auto target = card::open_to_erase(*device, known_rule, [] { return card::read_system(); });
    if (!target) return pass(target);
    auto laid = card::lay_device(r.sources, *r.family.card, r.release.index_sha256, **target, told(shop), r.card);
    target->reset();  // closed before anybody is told to pull it
    forget_gauge_state(shop, *device);
    if (!laid) return pass(laid);
    LaidCard out = laid_card(std::move(*laid), r, device->path);
    out.judgement.add(read_back(out.laid, device->path));
    out.judgement.add(question->known);
    if (r.careful) out.judgement.add(card::careful_reason(r.family.id));
    out.judgement.add(r.remarks);
    out.erased = std::move(*question);
    return out;
}

}  // namespace

std::string card_words(unsigned card, unsigned cards) {
    return cards > 1 ? fmt::format("card {} of {} of ", card, cards) : std::string();
}

Result<LaidCard> lay_card(const Workshop& shop, const LayRequest& request) {
    const bool device = is_block_device(request.out);
    if (!device && is_among_devices(request.out))
        return usage_error("device-not-known", printable(request.out),
                           "stands among the system's devices and is no card",
                           Next{"put the card in and see its name: `", propose(Act::list_devices),
                                "`; an image goes into a folder of yours"});
    if (device && request.size_bytes != 0)
        return usage_error("card-size-wrong", with(flag("size")), "is for image files; a real card is laid whole",
                           Next{"leave ", with(flag("size")), " out"});
    if (!device && !request.consent.serial.empty())
        return usage_error("erase-not-asked", with(flag("yes-erase")),
                           printable(request.out) + " is no device: nothing is erased",
                           Next{"leave ", with(flag("yes-erase")), " out, or name the card's device"});
    const bool for_job = !request.job.empty();
    std::optional<book::Job> job;
    ReleaseAsked what = request.what;
    if (for_job && !names_folder(what.release)) {
        auto loaded = load_job(shop, request.job);
        if (!loaded) return pass(loaded);
        job = std::move(*loaded);
        if (what.family.empty()) what.family = job->family;  // another may have a release of the same number
    }
    auto release = release_to_lay(shop, what, for_job);
    if (!release) return pass(release);
    if (job)
        if (const Status its = refuse_another_jobs(*job, *release); !its) return pass(its);
    auto laid = device ? onto_device(shop, request, *release) : into_image(shop, request, *release);
    if (!laid || !for_job) return laid;
    if (const Status kept = append_entries(shop, request.job, {laid_entry(*laid)}); !kept) return pass(kept);
    return laid;
}

}  // namespace fettle::workshop
