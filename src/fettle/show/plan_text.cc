// A plan for people: what a technician reads before the start.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/show/plan.h"
#include "fettle/show/plan_picture.h"

namespace fettle::show {
namespace {

using namespace plan;

using cutmap::Outcome;

// Shape, not colour, carries the meaning.
char sign_of(const cutmap::Outcomes& o) {
    if (o.count(Outcome::lost) != 0 && o.count(Outcome::goes_on_by_itself) != 0) return '?';  // boot order unknown
    switch (cutmap::worst(o)) {
        case Outcome::nothing_changed:
        case Outcome::done:
        case Outcome::goes_on_by_itself: return '.';
        case Outcome::same_card: return '=';
        case Outcome::rests_unfinished: return '~';
        case Outcome::starts_no_net: return '!';
        case Outcome::bench_repair:
        case Outcome::lost: return '#';
    }
    return '?';
}

std::string clock_of(double s) {
    const auto whole = static_cast<long>(std::lround(s));
    if (whole >= 3600) return fmt::format("{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60);
    return fmt::format("{}:{:02}", whole / 60, whole % 60);
}

std::string range_of(const change::Range& r) {
    if (r.low == r.high) return std::to_string(r.expected);
    return fmt::format("{} ({} to {})", r.expected, r.low, r.high);
}

std::string class_name(const std::string& of_box, const char* ours) {
    return of_box.empty() ? std::string(ours) : fmt::format("{} (box: \"{}\")", ours, of_box);
}

std::string outcome_words(const cutmap::Outcomes& o) {
    std::vector<std::string> w;
    for (const Outcome x : o) w.emplace_back(cutmap::words(x));
    return join(w, " or ");
}

void add_sheet(const PlanStep& s, const family::Family& family, bool full, std::string& out) {
    const auto n = [&](change::Action a) { return s.sheet.count(a); };
    out += fmt::format("  Change sheet ({}): add {}, replace {}, keep {}, does not apply {}, refuse {}; {} to write\n",
                       words(s.sheet.rests_on), n(change::Action::add), n(change::Action::replace),
                       n(change::Action::keep), n(change::Action::does_not_apply), n(change::Action::refuse),
                       human_bytes(s.sheet.bytes));
    if (full) {
        for (const auto& l : s.sheet.lines) {
            out += fmt::format("    {:<14} {:<7} {:<18} {:>8}  {}\n", words(l.action), l.box, l.name,
                               human_bytes(l.bytes), l.because);
        }
    }
    const family::Tally t = family.tally.value_or(family::Tally{});
    out += fmt::format("  Expected tally: {} {}, {} {}, {} {}; {} in all\n", class_name(t.landed, "landed"),
                       range_of(s.sheet.tally.landed), class_name(t.passed_over, "passed over"),
                       range_of(s.sheet.tally.passed_over), class_name(t.refused, "refused"),
                       range_of(s.sheet.tally.refused), s.sheet.tally.total);
}

void add_forecast(const PlanStep& s, const family::Family& family, std::string& out) {
    const auto& f = s.forecast;
    if (f.states.empty()) {
        out += "  Time: can't say; the step script is not known\n";
        return;
    }
    out += fmt::format("  Time: {}\n", f.claim);
    if (f.own_runs > 0) {
        out += fmt::format("        model beside it: half of the runs {} or less, nine in ten {} or less\n",
                           human_duration(f.total.p50_s), human_duration(f.total.p90_s));
    }
    out += fmt::format("        rests on: {}\n", f.rests_on.words());
    for (const auto& h : hands_on(f)) {
        const auto* act = family.act(h.act);
        out += fmt::format("  Hands at the box: {} to {} after the start: {}{}\n", clock_of(h.from_s), clock_of(h.to_s),
                           act->words, act->shows.empty() ? "" : fmt::format(" (\"{}\")", act->shows));
    }
    if (f.energy_p90_Ah > 0) {
        out += fmt::format(
            "  Charge: {:.1f} Ah in half of the runs, {:.1f} Ah in nine of ten, and {:.1f} Ah in reserve; peak "
            "{:.1f} A\n",
            f.energy_p50_Ah, f.energy_p90_Ah, f.reserve_Ah, f.peak_A);
    }
}

void add_map(const PlanStep& s, const family::Family& family, bool ascii, std::string& out) {
    const auto& map = s.map;
    if (map.moments.empty() && !map.boot_order_known) {
        out += "  Power-cut map: can't say; every write counts as having no way back\n";
        return;
    }
    out += fmt::format(
        "  Power-cut map: what a cut at each moment leads to ({} situations judged, up to {} {} in a run{})\n", map.met,
        map.cuts, map.cuts == 1 ? "cut" : "cuts",
        map.supplies == 1 ? "" : fmt::format(", of one of {} supplies or of all", map.supplies));
    for (const auto& l : step_strip(s, family, ascii)) out += "  " + l + "\n";
    out += "    . nothing lost   = same card   ~ rests unfinished   ! no net   # no way back   ? not known\n";
    for (const auto& stretch : map.stretches) {
        const std::string acts = stretch.first_act == stretch.last_act
                                     ? stretch.first_act
                                     : fmt::format("{} to {}", stretch.first_act, stretch.last_act);
        out += fmt::format("    {} {:>7} to {:>7}  {}: {}\n", sign_of(stretch.outcomes), clock_of(stretch.from_p50_s),
                           clock_of(stretch.to_p50_s), acts, outcome_words(stretch.outcomes));
        out += fmt::format("        {}\n", stretch.story);
    }
    if (map.cuts > 1) {
        cutmap::Outcomes more;
        for (const auto& m : map.moments) more.insert(m.two_cuts.begin(), m.two_cuts.end());
        if (!more.empty()) {
            out += fmt::format("    worst with up to {} cuts: {}\n", map.cuts, words(cutmap::worst(more)));
        }
    }
}

void add_releases(const Plan& plan, std::string& out) {
    out += "Every release, put directly on the set as it is now:\n";
    for (const auto& r : plan.route.releases) {
        std::string verdict(fettle::words(r.fits_now.verdict()));
        if (!r.on_shelf) verdict = "not here";
        out += fmt::format("  {:<12} {:<10} {}\n", r.release, verdict,
                           r.release == plan.from                  ? "installed now"
                           : !r.on_shelf                           ? ""
                           : !r.reachable                          ? "no route leads to it"
                           : r.fits_now.verdict() == Verdict::fit  ? "in one step"
                           : r.fits_now.verdict() == Verdict::mind ? "in one step, with this:"
                                                                   : "not directly; a route leads to it");
        for (const auto& reason : r.fits_now.reasons) {
            if (reason.verdict != Verdict::fit) out += fmt::format("      {}\n", reason.text);
        }
    }
}

}  // namespace

std::string plan_headline(const Plan& p) {
    if (p.nothing_to_do) {
        return fmt::format("Nothing to do: {} is installed already. It can still be proved; what was the complaint?",
                           p.to);
    }
    if (p.steps.empty()) {
        for (const auto& r : p.route.judgement.reasons) {
            if (r.verdict == Verdict::halt) return fmt::format("No plan: {}.", r.text);
        }
        return "No plan.";
    }
    std::vector<std::string> names;
    for (const auto& s : p.steps) names.push_back(s.release.release);
    const std::string way = fmt::format(
        "{} to {}{}", p.steps.size() == 1 ? std::string("One step") : fmt::format("{} steps", p.steps.size()), p.to,
        p.steps.size() == 1 ? "" : " (" + join(names, ", then ") + ")");
    if (std::any_of(p.steps.begin(), p.steps.end(), [](const PlanStep& s) { return s.forecast.states.empty(); }))
        return way + "; how long it takes can't be said.";
    return fmt::format("{}: half of such runs take {} or less, nine in ten {} or less.", way,
                       human_duration(p.total.p50_s), human_duration(p.total.p90_s));
}

std::string plan_as_text(const Plan& p, const family::Family& family, bool full, bool ascii) {
    std::string out;
    for (const auto& l : route_graph(p, ascii)) out += "  " + l + "\n";
    if (!out.empty()) out += "\n";
    if (!p.steps.empty()) {
        out += fmt::format("  {:<4} {:<12} {:<12} {:>10} {:>10} {:>10}\n", "step", "from", "to", "to write", "half",
                           "9 in 10");
        for (std::size_t i = 0; i < p.steps.size(); ++i) {
            const auto& s = p.steps[i];
            std::vector<std::string> marks;
            if (s.stepping_stone) marks.emplace_back("stepping stone");
            if (s.one_way_door) marks.emplace_back("ONE-WAY DOOR");
            const std::string from = i == 0 ? p.from : p.steps[i - 1].release.release;
            out += fmt::format("  {:<4} {:<12} {:<12} {:>10} {:>10} {:>10}\n", i + 1, from.empty() ? "not known" : from,
                               s.release.release, human_bytes(s.sheet.bytes),
                               time_words(s.forecast, s.forecast.total.p50_s),
                               time_words(s.forecast, s.forecast.total.p90_s));
            if (!marks.empty()) out += fmt::format("       {}\n", join(marks, ", "));
        }
        const bool timed =
            std::none_of(p.steps.begin(), p.steps.end(), [](auto& s) { return s.forecast.states.empty(); });
        if (p.steps.size() > 1 && timed) {
            out += fmt::format("  all steps, with handling between ({} usual, a guess): half {}, nine in ten {}\n",
                               human_duration(usual_handling().median_s), human_duration(p.total.p50_s),
                               human_duration(p.total.p90_s));
        }
        out += fmt::format("  why: {}\n", p.route.recommended ? p.route.recommended->why : "");
    }
    for (std::size_t i = 0; i < p.steps.size(); ++i) {
        out += fmt::format("\nStep {}: {}\n", i + 1, p.steps[i].release.release);
        add_sheet(p.steps[i], family, full, out);
        if (p.steps[i].cards > 1)
            out += fmt::format("  Cards: {}, taken one after the other; lay each with --card\n", p.steps[i].cards);
        add_forecast(p.steps[i], family, out);
        add_map(p.steps[i], family, ascii, out);
    }
    for (const auto& text : p.route.against) out += fmt::format("  stands against it: {}\n", text);
    if (p.route.against.size() > 1)
        out += fmt::format("  without {} there would be a way\n",
                           p.route.against_together ? "all of these together, and no fewer," : "any one of these");
    for (const auto& text : p.route.would_open) out += fmt::format("  would open it: {}\n", text);
    out += out.empty() ? "" : "\n";
    add_releases(p, out);
    return out;
}

}  // namespace fettle::show
