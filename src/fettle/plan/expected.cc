#include "fettle/plan/expected.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <type_traits>

#include "fettle/base/json.h"

namespace fettle::plan {
namespace {

constexpr change::Action kActions[] = {change::Action::add, change::Action::replace, change::Action::keep,
                                       change::Action::does_not_apply, change::Action::refuse};
constexpr cutmap::Outcome kOutcomes[] = {cutmap::Outcome::nothing_changed,
                                         cutmap::Outcome::goes_on_by_itself,
                                         cutmap::Outcome::same_card,
                                         cutmap::Outcome::rests_unfinished,
                                         cutmap::Outcome::starts_no_net,
                                         cutmap::Outcome::bench_repair,
                                         cutmap::Outcome::lost,
                                         cutmap::Outcome::done};

constexpr int kMost = 1'000'000;

json::array of(const forecast::Quantiles& q) {
    return {q.p10_s, q.p50_s, q.p90_s, q.p99_s};
}
json::array of(const change::Range& r) {
    return {r.low, r.expected, r.high};
}

// 1e999 is a number of JSON and no figure of anything: it counts as not said.
double finite(double v) {
    return std::isfinite(v) ? v : 0;
}
double number_at(const json::value& list, std::size_t i) {
    if (!list.is_array() || i >= list.get_array().size()) return 0;
    const json::value& v = list.get_array()[i];
    return v.is_number() ? finite(v.to_number<double>()) : 0;
}
// A whole number as the journal has it; what is beyond `most` either way counts as that much.
template <typename Whole>
Whole whole_number(const json::object& o, const char* key, Whole otherwise, Whole most) {
    const auto edge = static_cast<double>(most);
    const double low = std::is_signed_v<Whole> ? -edge : 0;
    const double v = number_of(o, key, static_cast<double>(otherwise));
    return std::isnan(v) ? otherwise : static_cast<Whole>(std::clamp(v, low, edge));
}
forecast::Quantiles quantiles(const json::object& o, const char* key) {
    const json::value* v = o.if_contains(key);
    if (!v) return {};
    return {number_at(*v, 0), number_at(*v, 1), number_at(*v, 2), number_at(*v, 3)};
}
change::Range range(const json::object& o, const char* key) {
    const json::value* v = o.if_contains(key);
    if (!v) return {};
    const auto n = [&](std::size_t i) { return static_cast<int>(std::clamp(number_at(*v, i), -1e6, 1e6)); };
    return {n(0), n(1), n(2)};
}

template <typename Take>
bool each_object(const json::object& o, const char* key, Take take) {
    const json::value* list = o.if_contains(key);
    if (!list || !list->is_array()) return false;
    for (const json::value& v : list->get_array()) {
        if (!v.is_object()) return false;
        take(v.get_object());
    }
    return true;
}

}  // namespace

json::object expected_as_json(const PlanStep& step) {
    json::array lines, states, moments;
    for (const change::Line& l : step.sheet.lines)
        lines.push_back(json::object{{"box", l.box},
                                     {"name", l.name},
                                     {"region", l.region},
                                     {"before", l.before},
                                     {"after", l.after},
                                     {"action", static_cast<int>(l.action)},
                                     {"bytes", l.bytes}});
    for (const forecast::StateWindow& w : step.forecast.states)
        states.push_back(json::object{{"act", w.act},
                                      {"begins", of(w.begins)},
                                      {"lasts", of(w.lasts)},
                                      {"mean_A", w.current_mean_A},
                                      {"p99_A", w.current_p99_A},
                                      {"hands_on", w.hands_on}});
    for (const cutmap::Moment& m : step.map.moments) {
        json::array outcomes;
        for (cutmap::Outcome o : m.outcomes) outcomes.push_back(json::string(cutmap::code(o)));
        moments.push_back(json::object{{"act", m.act}, {"cell", m.cell}, {"outcomes", std::move(outcomes)}});
    }
    return {{"from", step.sheet.from},
            {"to", step.sheet.to},
            {"origin", json::string(words(step.sheet.rests_on))},
            {"lines", std::move(lines)},
            {"tally", json::object{{"landed", of(step.sheet.tally.landed)},
                                   {"passed_over", of(step.sheet.tally.passed_over)},
                                   {"refused", of(step.sheet.tally.refused)},
                                   {"total", step.sheet.tally.total}}},
            {"states", std::move(states)},
            {"total", of(step.forecast.total)},
            {"own_runs", step.forecast.own_runs},
            {"rests_on", step.forecast.rests_on.words()},
            {"claim", step.forecast.claim},
            {"boot_order_known", step.map.boot_order_known},
            {"moments", std::move(moments)}};
}

Result<Expected> expected_from(const std::string& text) {
    const auto wrong = [] {
        return bad_input("expected-malformed", "the run's start", "what it is held against cannot be read",
                         Next{"look at the record: ", propose(Act::show_job, {flag("entries")})});
    };
    auto parsed = parse_json(text, "the run's start");
    if (!parsed || !parsed->is_object()) return wrong();
    const json::object& o = parsed->get_object();
    Expected out;
    out.sheet.from = text_of(o, "from");
    out.sheet.to = text_of(o, "to");
    for (const Origin origin : {Origin::typed, Origin::read, Origin::inferred}) {
        if (words(origin) == text_of(o, "origin")) out.sheet.rests_on = origin;
    }
    const bool whole = each_object(o, "lines",
                                   [&](const json::object& l) {
                                       change::Line line;
                                       line.box = text_of(l, "box");
                                       line.name = text_of(l, "name");
                                       line.region = text_of(l, "region");
                                       line.before = text_of(l, "before");
                                       line.after = text_of(l, "after");
                                       const auto action = whole_number<std::size_t>(l, "action", 0, 1000);
                                       if (action < std::size(kActions)) line.action = kActions[action];
                                       line.bytes = whole_number<std::uint64_t>(l, "bytes", 0, 1ull << 53);
                                       out.sheet.bytes += line.bytes;
                                       out.sheet.lines.push_back(std::move(line));
                                   }) &&
                       each_object(o, "states",
                                   [&](const json::object& s) {
                                       forecast::StateWindow w;
                                       w.act = text_of(s, "act");
                                       w.begins = quantiles(s, "begins");
                                       w.lasts = quantiles(s, "lasts");
                                       w.current_mean_A = finite(number_of(s, "mean_A"));
                                       w.current_p99_A = finite(number_of(s, "p99_A"));
                                       const json::value* hands = s.if_contains("hands_on");
                                       w.hands_on = hands && hands->is_bool() && hands->get_bool();
                                       out.forecast.peak_A = std::max(out.forecast.peak_A, w.current_p99_A);
                                       out.forecast.states.push_back(std::move(w));
                                   }) &&
                       each_object(o, "moments", [&](const json::object& m) {
                           cutmap::Moment moment;
                           moment.act = text_of(m, "act");
                           moment.cell = whole_number(m, "cell", -1, kMost);
                           const json::value* outcomes = m.if_contains("outcomes");
                           if (outcomes && outcomes->is_array()) {
                               for (const json::value& v : outcomes->get_array()) {
                                   for (cutmap::Outcome known : kOutcomes) {
                                       if (v.is_string() && v.get_string() == cutmap::code(known))
                                           moment.outcomes.insert(known);
                                   }
                               }
                           }
                           out.map.moments.push_back(std::move(moment));
                       });
    if (!whole) return wrong();
    if (const json::value* t = o.if_contains("tally"); t && t->is_object()) {
        const json::object& tally = t->get_object();
        out.sheet.tally.landed = range(tally, "landed");
        out.sheet.tally.passed_over = range(tally, "passed_over");
        out.sheet.tally.refused = range(tally, "refused");
        out.sheet.tally.total = whole_number(tally, "total", 0, kMost);
    }
    out.forecast.total = quantiles(o, "total");
    out.forecast.own_runs = whole_number(o, "own_runs", 0, kMost);
    out.forecast.rests_on = text_of(o, "rests_on");
    out.forecast.claim = text_of(o, "claim");
    const json::value* known = o.if_contains("boot_order_known");
    out.map.boot_order_known = known && known->is_bool() && known->get_bool();
    return out;
}

}  // namespace fettle::plan
