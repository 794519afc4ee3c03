#include "fettle/workshop/gauge.h"

#include <fmt/core.h>
#include <sys/random.h>

#include <chrono>
#include <optional>

#include "fettle/base/text.h"
#include "fettle/workshop/card_entries.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/gauge_state.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

using card::FoundDevice;

double now_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

std::uint64_t random_seed() {
    std::uint64_t n = 0;
    if (::getrandom(&n, sizeof n, 0) != sizeof n) n = static_cast<std::uint64_t>(now_s() * 1e9);
    return n;
}

card::GaugeProgress told(const Workshop& shop, const char* what) {
    return [&shop, what](std::uint64_t done, std::uint64_t total) {
        if (shop.progress) shop.progress(what, done, total);
    };
}

// Held for the owner of this job: the gauge would write all over it.
Status refuse_an_owners_card(const Workshop& shop, const std::string& number, const FoundDevice& device) {
    if (number.empty()) return {};
    const auto job = load_job(shop, number);
    if (!job) return pass(job);
    for (const auto& k : job->keepings)
        if (!k.returned && card::named_in(device, k.words + " " + k.tag))
            return usage_error("gauge-owners-card", device.path,
                               fmt::format("is held for the owner of job {} ('{}'): the gauge writes all over a card",
                                           number, printable(k.words)),
                               "give it back as it is; gauge only cards of the shop");
    return {};
}

// The same card, pulled and put back: by serial and size, with another disk sequence number where there is one.
std::optional<FoundDevice> same_card(const FoundDevice& device) {
    const auto view = card::read_system();
    if (!view) return std::nullopt;
    for (auto& d : card::find_devices(*view))
        if (d.serial == device.serial && d.size_bytes == device.size_bytes && d.bus == device.bus &&
            d.model == device.model && !d.partition())
            return std::move(d);
    return std::nullopt;
}

bool was_replugged(const std::string& sequence_before, const FoundDevice& now) {
    return !sequence_before.empty() && !now.sequence.empty() && sequence_before != now.sequence;
}

Result<card::Seen> look_once_more(const Workshop& shop, const FoundDevice& device, const card::GaugePlan& plan) {
    const auto target = card::open_for_reading(device.path);
    if (!target) return pass(target);
    auto seen = card::read_marks(plan, **target, now_s, told(shop, "reading back"));
    if (seen && seen->right == 0 && seen->foreign == 0)
        return bad_input("gauge-other-card", device.path,
                         "holds no mark of the last gauging: it is another card, or was written since",
                         "put the gauged card back in, or gauge this one again");
    return seen;
}

Result<GaugedCard> gauge_again(const Workshop& shop, FoundDevice device) {
    const auto state = read_gauge_state(shop, device);
    if (!state) return pass(state);
    if (!*state)
        return usage_error("gauge-not-begun", device.path, "has no gauging here to go on with",
                           Next{"gauge it first, or name the home where that was done: ", with(wanted("home", "DIR"))});
    GaugedCard out;
    out.gauged.plan = (*state)->plan;
    auto seen = look_once_more(shop, device, out.gauged.plan);
    if (!seen) return pass(seen);
    out.gauged.again = std::move(*seen);
    out.gauged.replugged = was_replugged((*state)->sequence, device);
    out.marked_at = (*state)->at;
    out.device = std::move(device);
    return out;
}

Status write_and_read(const Workshop& shop, const family::CardRule* rule, GaugedCard& out) {
    card::Gauged& g = out.gauged;
    const auto target = card::open_to_erase(out.device, rule, [] { return card::read_system(); });
    if (!target) return pass(target);
    const GaugeState state{g.plan, out.device.sequence, iso8601(shop.clock->now())};
    if (const Status s = write_gauge_state(shop, out.device, state); !s) return s;
    if (const Status s = card::erase_old_marks(**target); !s) return s;
    auto written = card::write_marks(g.plan, **target, now_s, told(shop, "marking"));
    if (!written) return pass(written);
    g.written = std::move(*written);
    auto first = card::read_marks(g.plan, **target, now_s, told(shop, "reading back"));
    if (!first) return pass(first);
    g.first = std::move(*first);
    return {};
}

Result<GaugedCard> gauge_anew(const Workshop& shop, const GaugeRequest& request, FoundDevice device,
                              const family::CardRule* rule) {
    auto question = erase_question(device, card::may_be_erased(device, rule), "by the gauge");
    if (!question) return pass(question);
    if (const Status s = agree_to_erase(*question, request.consent); !s) return pass(s);
    GaugedCard out;
    out.device = std::move(device);
    out.was_on_it = std::move(question->on_it);
    out.gauged.plan.card_bytes = out.device.size_bytes / 512 * 512;
    out.gauged.plan.seed = random_seed();
    if (const Status s = write_and_read(shop, rule, out); !s) return pass(s);
    const bool put_back = out.gauged.first->sound() && request.put_back && request.put_back();
    if (const auto back = put_back ? same_card(out.device) : std::nullopt) {
        auto again = look_once_more(shop, *back, out.gauged.plan);
        if (!again) return pass(again);
        out.gauged.again = std::move(*again);
        out.gauged.replugged = !back->sequence.empty() && back->sequence != out.device.sequence;
        out.device = *back;
    }
    out.judgement = std::move(question->known);
    return out;
}

}  // namespace

Result<GaugedCard> gauge_card(const Workshop& shop, const GaugeRequest& request) {
    const auto family = family_if_named(shop, request.family);
    if (!family) return pass(family);
    const family::CardRule* rule = *family && (*family)->card ? &*(*family)->card : nullptr;
    auto device = device_named(request.device);
    if (!device) return pass(device);
    if (const Status s = card::refuse_unless_erasable(*device, rule); !s) return pass(s);
    if (const Status s = refuse_an_owners_card(shop, request.job, *device); !s) return pass(s);
    auto out =
        request.again ? gauge_again(shop, std::move(*device)) : gauge_anew(shop, request, std::move(*device), rule);
    if (!out) return out;
    Judgement judgement = card::judge(out->gauged);
    judgement.add(std::move(out->judgement));
    out->judgement = std::move(judgement);
    if (request.job.empty()) return out;
    const NewEntry entry = gauged_entry(out->device, out->judgement);
    if (const Status kept = append_entries(shop, request.job, {entry}); !kept) return pass(kept);
    return out;
}

}  // namespace fettle::workshop
