#include "cmd_gauge.h"

#include <fmt/core.h>
#include <sys/random.h>

#include <algorithm>
#include <chrono>
#include <optional>

#include "card_device.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/gauge_state.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

using card::FoundDevice;
using card::Gauged;

double now_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

std::uint64_t random_seed() {
    std::uint64_t n = 0;
    if (::getrandom(&n, sizeof n, 0) != sizeof n) n = static_cast<std::uint64_t>(now_s() * 1e9);
    return n;
}

card::GaugeProgress told(Context& context, const char* what) {
    return [&context, what](std::uint64_t done, std::uint64_t total) {
        if (context.progress) context.progress(what, done, total);
    };
}

const std::function<Result<card::SystemView>()> look_again = [] { return card::read_system(); };

// Held for the owner of this job: the gauge would write all over it.
Status refuse_an_owners_card(Context& context, const FoundDevice& device) {
    if (context.job.empty()) return {};
    const auto job = load_job(context, context.job);
    if (!job) return pass(job);
    for (const auto& k : job->keepings)
        if (!k.returned && card::named_in(device, k.words + " " + k.tag))
            return usage_error("gauge-owners-card", device.path,
                               fmt::format("is held for the owner of job {} ('{}'): the gauge writes all over a card",
                                           context.job, printable(k.words)),
                               "give it back as it is; gauge only cards of the shop");
    return {};
}

json::object seen_as_json(const card::Seen& s) {
    return {{"cold", s.cold},
            {"sectors", s.sectors},
            {"right", s.right},
            {"foreign", s.foreign},
            {"empty", s.empty},
            {"damaged", s.damaged},
            {"unreadable_stretches", s.unreadable.size()},
            {"wrap_bytes", s.wrap_bytes}};
}

Answer answer_for(const Gauged& g, const std::string& target) {
    Answer a;
    a.headline = card::headline(g);
    a.judgement = card::judge(g);
    a.data = {{"card", target}, {"size_bytes", g.plan.card_bytes}, {"replugged", g.replugged}};
    if (g.first) a.data["first"] = seen_as_json(*g.first);
    if (g.again) a.data["again"] = seen_as_json(*g.again);
    if (g.written && g.first) {
        const auto p = card::pace(g.plan, *g.written, *g.first);
        json::array classes;
        for (const auto& c : p.classes_met) classes.push_back(json::string(c));
        a.data["pace"] = json::object{{"write_bytes_per_s", p.write_rate},
                                      {"slowest_write_bytes_per_s", p.slowest_write_rate},
                                      {"read_bytes_per_s", p.read_rate},
                                      {"classes_met", std::move(classes)},
                                      {"slow_spots", p.slow.size()}};
    }
    return a;
}

void add_entry(Answer& a, const FoundDevice& device) {
    json::array reasons;
    for (const auto& r : a.judgement.reasons)
        reasons.push_back(json::object{{"code", r.code},
                                       {"verdict", std::string(code(r.verdict))},
                                       {"text", r.text},
                                       {"where", r.where},
                                       {"rests_on", r.rests_on}});
    a.entries.push_back({"gauged", json::object{{"target", device.path},
                                                {"device", app::as_json(device)},
                                                {"verdict", std::string(code(a.judgement.verdict()))},
                                                {"reasons", std::move(reasons)}}});
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

Result<card::Seen> look_once_more(Context& context, const FoundDevice& device, const card::GaugePlan& plan) {
    const auto target = card::open_for_reading(device.path);
    if (!target) return pass(target);
    auto seen = card::read_marks(plan, **target, now_s, told(context, "reading back"));
    if (seen && seen->right == 0 && seen->foreign == 0)
        return bad_input("gauge-other-card", device.path,
                         "holds no mark of the last gauging: it is another card, or "
                         "was written since",
                         "put the gauged card back in, or gauge this one anew");
    return seen;
}

Result<Answer> gauge_again(Context& context, const FoundDevice& device, const GaugeState& state) {
    Gauged g;
    g.plan = state.plan;
    auto seen = look_once_more(context, device, state.plan);
    if (!seen) return pass(seen);
    g.again = std::move(*seen);
    g.replugged = !state.sequence.empty() && !device.sequence.empty() && state.sequence != device.sequence;
    Answer a = answer_for(g, device.path);
    a.text = page_of(device, {}) + fmt::format("The marks were written {}.\n", state.at);
    add_entry(a, device);
    return a;
}

Result<Answer> gauge_anew(Context& context, const CardGaugeOptions& options, FoundDevice device,
                          const family::CardRule* rule) {
    const Judgement known = card::may_be_erased(device, rule);
    std::vector<std::string> on_it;
    {
        const auto before = card::open_for_reading(device.path);
        if (!before) return pass(before);
        on_it = card::what_is_on(**before);
    }
    if (Status s = agree_to_erase(context, device, known, on_it, options.yes_erase, "by the gauge"); !s) return pass(s);

    Gauged g;
    g.plan.card_bytes = device.size_bytes / 512 * 512;
    g.plan.seed = random_seed();
    const GaugeState state{g.plan, device.sequence, iso8601(context.clock->now())};
    {
        auto target = card::open_to_erase(device, rule, look_again);
        if (!target) return pass(target);
        if (Status s = write_gauge_state(context, device, state); !s) return pass(s);
        if (Status s = card::erase_old_marks(**target); !s) return pass(s);
        auto written = card::write_marks(g.plan, **target, now_s, told(context, "marking"));
        if (!written) return pass(written);
        g.written = std::move(*written);
        auto first = card::read_marks(g.plan, **target, now_s, told(context, "reading back"));
        if (!first) return pass(first);
        g.first = std::move(*first);
    }
    if (g.first->sound()) {
        const std::string typed =
            ask_at_terminal(context, "Pull the card, put it back in, then type y (anything else: later): ");
        const auto back = typed == "y" ? same_card(device) : std::nullopt;
        if (back) {
            auto again = look_once_more(context, *back, g.plan);
            if (!again) return pass(again);
            g.again = std::move(*again);
            g.replugged = !back->sequence.empty() && back->sequence != device.sequence;
            device = *back;
        }
    }
    Answer a = answer_for(g, device.path);
    a.judgement.add(known);
    a.text = page_of(device, on_it) + "What was on it is gone; lay it or format it before use.\n";
    if (g.first->sound() && !g.again)
        a.text += fmt::format("Pull the card, put it back in, then: fettle card gauge {} --again\n", device.path);
    add_entry(a, device);
    return a;
}

}  // namespace

Result<Answer> card_gauge(Context& context, const CardGaugeOptions& options) {
    std::optional<family::Family> family;
    if (!options.family.empty()) {
        auto named = load_family_by_id(context, options.family);
        if (!named) return pass(named);
        family = std::move(*named);
    }
    const family::CardRule* rule = family && family->card ? &*family->card : nullptr;
    const auto device = device_named(options.device);
    if (!device) return pass(device);
    if (Status s = card::refuse_unless_erasable(*device, rule); !s) return pass(s);
    if (Status s = refuse_an_owners_card(context, *device); !s) return pass(s);
    if (!options.again) return gauge_anew(context, options, *device, rule);
    const auto state = read_gauge_state(context, *device);
    if (!state) return pass(state);
    if (!*state)
        return usage_error("gauge-not-begun", device->path, "has no gauging here to go on with",
                           "gauge it first, or name the --home where that was done");
    return gauge_again(context, *device, **state);
}

}  // namespace fettle::app
