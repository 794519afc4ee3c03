// A plan as the whole answer: the page, the odds of a power cut, what the box offers.
#include <fmt/core.h>

#include <cmath>

#include "fettle/base/json.h"
#include "fettle/base/time_of_day.h"
#include "fettle/show/identity.h"
#include "fettle/show/plan.h"
#include "fettle/watch/worry.h"

namespace fettle::show {
namespace {

json::object odds_json(const cutmap::Odds& odds, bool given) {
    json::object worst;
    for (const auto& [outcome, p] : odds.worst) worst[std::string(cutmap::code(outcome))] = p;
    return {{"cuts_per_hour", odds.cuts_per_hour},
            {"source", given ? "given" : "guess"},
            {"no_cut", odds.no_cut},
            {"worst", std::move(worst)},
            {"no_way_back", odds.no_way_back()},
            {"further_no_way_back_at_most", odds.further_no_way_back}};
}

// "1 in 20,000", or the percentage where that says more.
std::string chance(double p) {
    if (p <= 0) return "none";
    if (p < 1e-7) return "less than 1 in 10,000,000";
    const double in = 1 / p;
    const double digits = std::pow(10, std::floor(std::log10(in)) - 1);
    return p >= 0.1 ? fmt::format("{:.0f} %", 100 * p) : fmt::format("1 in {:.0f}", std::round(in / digits) * digits);
}

void add_odds(const plan::Plan& p, double rate, Answer& a) {
    const bool given = rate != cutmap::usual_cuts_per_hour;
    if (!p.steps.empty())
        a.text += fmt::format("  Odds, for {:g} power cuts an hour ({}):\n", rate, given ? "as given" : "a guess");
    for (std::size_t i = 0; i < p.steps.size(); ++i) {
        const auto odds = cutmap::odds(p.steps[i].map, p.steps[i].forecast, rate);
        json::value& shown = a.data["steps"].as_array()[i].as_object()["odds"];
        shown = odds_json(odds, given);
        if (!p.steps[i].map.boot_order_known) {  // an unknown chance is not a small one
            shown = nullptr;
            a.text += fmt::format("    step {}: can't say; every write counts as having no way back\n", i + 1);
            continue;
        }
        a.text += fmt::format("    step {}: a cut in the run {}; one that leaves no way back {}", i + 1,
                              chance(1 - odds.no_cut), chance(odds.no_way_back()));
        if (p.steps[i].map.cuts > 1)
            a.text += fmt::format("; by a further cut at most {}", chance(odds.further_no_way_back));
        a.text += "\n";
    }
}

void add_offered(const change::OfferedAnswer& offered, Answer& a) {
    a.data["offered"] = json::object{
        {"listed", offered.listed}, {"expected", offered.expected}, {"surprises", texts_as_json(offered.surprises)}};
    a.text += fmt::format("  Offered list: {} listed, {} expected, {} surprise{}\n", offered.listed, offered.expected,
                          offered.surprises.size(), offered.surprises.size() == 1 ? "" : "s");
    for (const auto& s : offered.surprises) a.text += fmt::format("    {}\n", s);
}

}  // namespace

void add_fits(UnixMs by, const std::vector<workshop::FitsBy>& fits, Answer& a) {
    json::array steps;
    a.text += fmt::format("  By {} (with settling, from now):\n", time_of_day(by));
    for (std::size_t i = 0; i < fits.size(); ++i) {
        const auto& [release, p] = fits[i];
        a.text += fmt::format("    step {} to {}: {}\n", i + 1, release,
                              p ? watch::chance_words(*p) : "can't say, its time is not known");
        json::object step{{"release", release}};
        if (p) step["p"] = *p;
        steps.push_back(std::move(step));
    }
    if (fits.size() > 1)
        a.text +=
            "    It can be left off after any step, when that has ended and settled: nothing is half done then.\n";
    a.data["by"] = json::object{{"at", iso8601(by)}, {"steps", std::move(steps)}};
}

Answer planned(const workshop::Planned& planned, const PlanStyle& style) {
    if (!planned.plan) return not_identified(planned.unit, "No plan: what stands on the bench is not certain enough.");
    const plan::Plan& p = *planned.plan;
    const family::Family& family = *planned.unit.family;
    Answer a;
    a.headline = plan_headline(p);
    a.text = plan_as_text(p, family, style.full, style.ascii);
    a.judgement = p.judgement;
    a.level = family.level;
    a.data = plan_as_json(p);
    a.data["identity"] = identity_as_json(planned.unit.identity, &family);
    add_odds(p, style.cuts_per_hour, a);
    if (planned.offered) add_offered(*planned.offered, a);
    return a;
}

}  // namespace fettle::show
