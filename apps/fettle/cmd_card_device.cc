#include "cmd_card_device.h"

#include <fmt/core.h>

#include <algorithm>

#include "card_device.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/gauge_state.h"

namespace fettle::app {
namespace {

json::array as_json(const std::vector<std::string>& lines) {
    json::array out;
    for (const auto& l : lines) out.push_back(json::string(l));
    return out;
}

const Reason* worst_of(const Judgement& j) {
    const Reason* worst = nullptr;
    for (const auto& r : j.reasons)
        if (!worst || r.verdict > worst->verdict) worst = &r;
    return worst;
}

}  // namespace

Result<Answer> card_devices(Context& context, const CardDevicesOptions& options) {
    std::optional<family::Family> family;
    if (!options.family.empty()) {
        auto named = load_family_by_id(context, options.family);
        if (!named) return pass(named);
        family = std::move(*named);
    }
    const family::CardRule* rule = family && family->card ? &*family->card : nullptr;
    const auto view = card::read_system();
    if (!view) return pass(view);
    Answer a;
    a.verdict_matters = false;
    json::array devices;
    std::size_t cards = 0, others = 0;
    for (const auto& d : card::find_devices(*view)) {
        if (d.bus == card::Bus::loop && d.size_bytes == 0) continue;  // prepared by the system, over nothing
        const Judgement j = card::may_be_erased(d, rule);
        const bool usable = j.verdict() != Verdict::halt;
        cards += usable;
        others += !usable;
        json::object one = app::as_json(d);
        one["usable"] = usable;
        one["verdict"] = std::string(code(j.verdict()));
        json::array reasons;
        for (const auto& r : j.reasons)
            reasons.push_back(
                json::object{{"code", r.code}, {"verdict", std::string(code(r.verdict))}, {"text", r.text}});
        one["reasons"] = std::move(reasons);
        devices.push_back(std::move(one));
        if (!usable && !options.all) continue;
        a.text += page_of(d, {});
        if (const Reason* w = worst_of(j)) a.text += fmt::format("  {:<9} {}\n", words(w->verdict), w->text);
    }
    a.headline = cards == 0   ? "No device here may be a card."
                 : cards == 1 ? "One device here may be a card."
                              : fmt::format("{} devices here may be a card.", cards);
    if (others > 0 && !options.all)
        a.text += fmt::format(
            "{} other{} left out: part of the computer, in use, or without a medium (--all shows "
            "why).\n",
            others, others == 1 ? " is" : "s are");
    a.data = {{"devices", std::move(devices)}};
    if (family) a.data["family"] = family->id;
    return a;
}

Result<Answer> card_lay_device(Context& context, const CardLayOptions& options) {
    if (!options.size.empty())
        return usage_error("card-size-wrong", "--size", "is for image files; a real card is laid whole",
                           "leave --size out");
    auto release = release_to_lay(context, options.family, options.release, !context.job.empty(), options.card);
    if (!release) return pass(release);
    const auto device = device_named(options.out);
    if (!device) return pass(device);
    if (release->careful) release->family.card = careful_rule(release->family, device->size_bytes);
    const family::CardRule& rule = *release->family.card;
    const family::CardRule* known_rule = release->careful ? nullptr : &rule;  // what may be erased: nobody's default
    if (Status s = card::refuse_unless_erasable(*device, known_rule); !s) return pass(s);
    const Judgement known = card::may_be_erased(*device, known_rule);

    std::vector<std::string> on_it;
    {
        const auto before = card::open_for_reading(device->path);
        if (!before) return pass(before);
        on_it = card::what_is_on(**before);
    }
    const std::string name = card_words(release->card, release->cards) + printable(release->release.release);
    if (Status s = agree_to_erase(context, *device, known, on_it, options.yes_erase, "to lay " + name); !s)
        return pass(s);
    auto target = card::open_to_erase(*device, known_rule, [] { return card::read_system(); });
    if (!target) return pass(target);
    auto laid = card::lay_device(
        release->sources, rule, release->release.index_sha256, **target,
        [&](std::uint64_t done, std::uint64_t total) {
            if (context.progress) context.progress(done * 2 <= total ? "laying" : "reading back", done, total);
        },
        release->card);
    target->reset();  // closed before anybody is told to pull it
    forget_gauge_state(context, *device);
    if (!laid) return pass(laid);

    const LaidCard c{std::move(*laid), release->family, release->release, device->path,    release->right,
                     release->card,    release->cards,  release->careful, release->remarks};
    Answer a;
    a.headline = fmt::format("Laid {}{} on {} and read every byte back.{}", name, for_words(c.family), device->path,
                             c.laid.cold ? " Safe to pull." : "");
    a.text = page_of(*device, on_it) + "What was on it is gone.\n" + laid_text(c);
    if (c.laid.cold)
        a.judgement.add(Reason{"card-laid", Verdict::fit, "Every written byte reads back as it was written.",
                               device->path, "digest, read past the system's memory"});
    else
        a.judgement.add(Reason{"read-back-warm", Verdict::cant_say,
                               "Every byte reads back, but perhaps from the system's memory: pull the card, put it "
                               "back, and audit it.",
                               device->path, "digest"});
    a.judgement.add(known);
    a.level = level_of(c.family);
    if (c.careful) a.judgement.add(careful_reason(c.family.id));
    a.judgement.add(c.remarks);
    a.data = laid_as_json(c.laid, c.image);
    a.data["release"] = c.release.release;
    a.data["family"] = c.family.id;
    a.data["card_number"] = c.card;
    a.data["cards"] = c.cards;
    a.data["device"] = app::as_json(*device);
    a.data["was_on_it"] = as_json(on_it);
    NewEntry entry = laid_entry(c);
    entry.data["device"] = app::as_json(*device);
    a.entries.push_back(std::move(entry));
    return a;
}

}  // namespace fettle::app
