#include "cmd_reckon.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/forecast/by_hand.h"
#include "fettle/forecast/random.h"
#include "fettle/ready/told.h"

namespace fettle::app {
namespace {

std::optional<double> number(std::string_view text) {
    double v = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), v);
    if (text.empty() || error != std::errc() || end != text.data() + text.size() || !std::isfinite(v))
        return std::nullopt;
    return v;
}

// "18:3", "8/40": two figures, each at least 0 and at most `most`.
Result<std::pair<double, double>> pair_of(const std::string& text, char between, double most, const char* form) {
    const auto parts = split(text, between);
    if (parts.size() == 2) {
        const auto a = number(parts[0]), b = number(parts[1]);
        if (a && b && *a >= 0 && *b >= 0 && *a <= most && *b <= most) return std::pair{*a, *b};
    }
    return usage_error("figures-not-read", printable(shortened(text)), std::string("expected ") + form,
                       std::string("write it as ") + form);
}

double minutes(double seconds) {
    return std::round(seconds / 60 * 100) / 100;
}

}  // namespace

Result<Answer> reckon_time(Context&, const ReckonTimeOptions& options) {
    std::vector<forecast::NearNormal> steps;
    double mean = 0, sum_of_p90 = 0;
    for (const std::string& text : options.steps) {
        auto p = pair_of(text, ':', 1e5, "MINUTES:SD, e.g. 18:3");
        if (!p) return pass(p);
        steps.push_back({p->first * 60, p->second * 60});
        mean += p->first;
        sum_of_p90 += p->first + 1.2815515655446004 * p->second;
    }
    const forecast::Quantiles q = forecast::total_by_draws(steps, options.shared);
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("Together: {:.1f} min (half), {:.1f} min (nine in ten).", q.p50_s / 60, q.p90_s / 60);
    a.text = fmt::format("  not {:.1f}: the 90 % points of steps do not add up\n  correlation between steps: {:g}\n",
                         sum_of_p90, options.shared);
    a.data = {{"p50_min", minutes(q.p50_s)},
              {"p90_min", minutes(q.p90_s)},
              {"sum_of_p90_min", sum_of_p90},
              {"mean_min", mean}};
    return a;
}

Result<Answer> reckon_next(Context&, const ReckonNextOptions& options) {
    std::vector<forecast::PastRun> runs;
    double slowest = 0;
    for (const double m : options.minutes) {
        if (!std::isfinite(m) || m <= 0 || m > 1e5)
            return usage_error("figures-not-read", fmt::format("{}", m), "expected minutes above 0",
                               "give each own run's minutes");
        runs.push_back({m * 60});
        slowest = std::max(slowest, m);
    }
    Answer a;
    a.headline = forecast::order_claim(runs) + ".";
    a.headline[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(a.headline[0])));
    if (runs.empty())
        a.judgement.add({"no-own-runs", Verdict::cant_say,
                         "no own run of this step: nothing can be said from the own record", "runs", "nothing"});
    else
        a.judgement.add(
            {"own-runs", Verdict::fit, forecast::order_claim(runs), "runs", fmt::format("measured {}", runs.size())});
    a.reasons_in_text = true;
    a.data = {{"runs", runs.size()}, {"of", runs.size() + 1}, {"slowest_min", slowest}, {"runs_for_19_in_20", 19}};
    return a;
}

Result<Answer> reckon_left(Context&, const ReckonLeftOptions& options) {
    auto pieces = pair_of(options.pieces, '/', 1e6, "DONE/ALL, e.g. 8/40");
    if (!pieces) return pass(pieces);
    auto mib = pair_of(options.mib, '/', 1e9, "DONE/ALL, e.g. 80/1600");
    if (!mib) return pass(mib);
    const auto w =
        forecast::work_left({options.after_s, static_cast<int>(pieces->first), static_cast<int>(pieces->second),
                             mib->first, mib->second, options.seconds_a_piece});
    if (!w) return pass(w);
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("{} in all, {} left, at {:.2g} MiB/s.", human_duration(w->total_s),
                             human_duration(w->left_s), w->mib_a_second);
    a.text = fmt::format("  counting only pieces would say {:.0f} s, only bytes {:.0f} s: both wrong\n", w->by_pieces_s,
                         w->by_bytes_s);
    a.data = {{"mib_a_second", w->mib_a_second},
              {"total_s", w->total_s},
              {"left_s", w->left_s},
              {"by_pieces_s", w->by_pieces_s},
              {"by_bytes_s", w->by_bytes_s}};
    return a;
}

Result<Answer> reckon_never(Context&, const ReckonNeverOptions& options) {
    if (options.runs < 0 || options.seen < 0 || options.seen > options.runs || options.runs > 10'000'000)
        return usage_error("figures-not-read", "", "more was seen than there were runs, or a count is below 0",
                           "give the number of runs, and --seen for how many of them");
    const double confidence = options.confidence / 100;
    const double upper = forecast::upper_share(options.seen, options.runs, confidence);
    Answer a;
    a.verdict_matters = false;
    a.headline = options.runs == 0
                     ? std::string("Nothing was seen, so nothing can be said.")
                     : fmt::format("{} of {}: at most {:.1f} % at {:g} % (one-sided), not \"{:.0f} %\".", options.seen,
                                   options.runs, upper * 100, options.confidence,
                                   100.0 * static_cast<double>(options.seen) / static_cast<double>(options.runs));
    a.data = {{"upper", upper},
              {"lower", forecast::lower_share(options.seen, options.runs, confidence)},
              {"confidence", confidence}};
    return a;
}

Result<Answer> reckon_supply(Context&, const ReckonSupplyOptions& options) {
    family::Family family;  // of nothing but these figures
    ready::Told told;
    for (const std::string& text : options.answers) {
        const auto eq = text.find('=');
        if (eq == std::string::npos)
            return usage_error("answer-not-key-value", printable(text), "no key and value", "say KEY=VALUE");
        const std::string key = text.substr(0, eq), value = text.substr(eq + 1);
        if (auto ok = ready::check_answer(family, key, value); !ok) return pass(ok);
        told[key] = value;
    }
    if (options.lowest > 0) {
        family.supply.emplace();
        family.supply->lowest_V = options.lowest;
        family.supply->source = "typed";
    }
    ready::Need need;
    const double p90 = std::max(options.minutes, options.minutes_90);
    need.seconds_p50 = options.minutes * 60;
    need.seconds_p90 = p90 * 60;
    need.reserve_s = options.reserve * 60;
    need.reserve_Ah = options.amps * options.reserve / 60;
    need.reserve_from = "command line";
    need.ah_p50 = options.amps * options.minutes / 60;
    need.ah_p90 = options.amps * p90 / 60;
    need.peak_A = std::max({options.amps, options.peak, 1e-6});
    need.rests_on = "typed";
    // Its quantiles as a normal's, so that the odds can be counted.
    const forecast::NearNormal time{options.minutes * 60, (p90 - options.minutes) * 60 / 1.2815515655446004};
    for (int i = 0; i < 1000; ++i) {
        // 1,000 equally likely strata of the normal distribution
        const double z = forecast::normal_quantile((i + 0.5) / 1000);
        const double s = std::max(0.0, time.mean_s + time.sd_s * z);
        need.draws.push_back({s, options.amps * s / 3600});
    }
    const auto figures = ready::supply_figures(told, options.place == "bench");
    const ready::SupplyAnswer s = ready::judge_supply(family, need, figures);
    Answer a;
    a.judgement = s.judgement;
    const bool battery = !figures.on_bench && !figures.support.value_or(false);
    a.headline = battery && s.needs_Ah > 0
                     ? fmt::format("Needs {:.1f} Ah, has {:.1f} Ah above the floor.", s.needs_Ah, s.has_Ah)
                 : s.at_box_V ? fmt::format("{:.2f} V at the box.", *s.at_box_V)
                              : std::string("Not all figures are said.");
    if (!s.value.empty()) a.text = "  " + s.value + "\n";
    for (const std::string& r : s.remedies) a.text += "  remedy: " + r + "\n";
    if (!s.wanted.empty()) a.text += "  say " + join(s.wanted, ", ") + "\n";
    boost::json::array wanted, remedies;
    for (const auto& w : s.wanted) wanted.push_back(boost::json::string(w));
    for (const auto& r : s.remedies) remedies.push_back(boost::json::string(r));
    a.data = {{"needs_ah", s.needs_Ah}, {"has_ah", s.has_Ah}, {"wanted", wanted}, {"remedies", remedies}};
    if (s.at_box_V) a.data["at_box_v"] = *s.at_box_V;
    if (s.odds) a.data["odds"] = *s.odds;
    return a;
}

}  // namespace fettle::app
