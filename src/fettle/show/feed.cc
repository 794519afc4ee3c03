#include "fettle/show/feed.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

json::object breach_json(const Breach& b) {
    return {{"hold", b.hold}, {"witness", b.witness}, {"words", b.words}};
}

}  // namespace

Answer supply_read(const workshop::SupplyRead& read) {
    Answer a;
    a.judgement = read.judgement;
    a.headline =
        read.kept.empty() ? "The supply gave no figure." : "Read from the supply; it was only asked, nothing was set.";
    json::object answers;
    for (const auto& [key, value] : read.kept) {
        a.text += fmt::format("  {} = {} (read)\n", key, value);
        answers[key] = value;
    }
    const bool series = read.maker_and_model.empty();
    if (read.measured_A)
        a.text += series ? fmt::format("  {:.2f} A at most in {} readings\n", *read.measured_A, read.readings)
                         : fmt::format("  {:.2f} A are drawn from it now\n", *read.measured_A);
    a.data["answers"] = std::move(answers);
    if (series)
        a.data["readings"] = read.readings;
    else
        a.data["supply"] = read.maker_and_model;
    if (read.measured_A) a.data["measured_a"] = *read.measured_A;
    return a;
}

Answer guarded(const workshop::Guarded& g) {
    Answer a;
    a.judgement = g.judgement;
    a.headline = fmt::format("{} readings, {} more not to be had; {} seen broken.", g.readings, g.troubles,
                             plural(g.breaches.size(), "hold"));
    a.data = {
        {"readings", g.readings}, {"without_reading", g.troubles}, {"breaches", list_as_json(g.breaches, breach_json)}};
    return a;
}

Answer breached(const workshop::Breached& b) {
    Answer a;
    a.judgement = b.judgement;
    a.headline = fmt::format("Broken and recorded: {}.", printable(b.breach.hold));
    a.text = "Put it right if that can be done without cutting power; the run is watched on.\n";
    a.data = breach_json(b.breach);
    return a;
}

}  // namespace fettle::show
