#include "fettle/show/mend.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/print.h"

namespace fettle::show {
namespace {

json::object chance_json(const mend::Chance& c) {
    return {{"low", c.low}, {"high", c.high}};
}

json::object as_data(const mend::Answer& m) {
    json::array places, outcomes, attempts, withheld;
    for (const mend::Place& p : m.places) {
        json::array o;
        for (const auto x : p.outcomes) o.push_back(json::string(cutmap::code(x)));
        json::object place{{"act", p.act}, {"cell", p.cell}, {"p", p.p}, {"outcomes", std::move(o)}};
        if (!p.piece.empty()) place["piece"] = p.piece;
        places.push_back(std::move(place));
    }
    for (const auto& [o, c] : m.outcomes) {
        json::object x = chance_json(c);
        x["outcome"] = json::string(cutmap::code(o));
        outcomes.push_back(std::move(x));
    }
    for (const mend::Attempt& t : m.attempts)
        attempts.push_back({{"kind", json_word(code(t.kind))},
                            {"words", t.words},
                            {"most", t.most},
                            {"done", t.done},
                            {"helps", chance_json(t.helps)},
                            {"p50_s", t.p50_s},
                            {"p90_s", t.p90_s},
                            {"writes", texts_as_json(t.writes)},
                            {"stop", t.stop},
                            {"risk", t.risk},
                            {"who", t.who}});
    for (const mend::Withheld& w : m.withheld) withheld.push_back({{"kind", json_word(code(w.kind))}, {"why", w.why}});
    return {{"places", std::move(places)},
            {"outcomes", std::move(outcomes)},
            {"before", texts_as_json(m.before)},
            {"attempts", std::move(attempts)},
            {"withheld", std::move(withheld)},
            {"no_net", m.no_net},
            {"stop", m.stop},
            {"nothing_to_mend", m.nothing_to_mend},
            {"look", m.look},
            {"stop_rule", m.stop_rule},
            {"who_goes_on", m.who_goes_on},
            {"rests_on", m.rests_on}};
}

std::string chance_words(const mend::Chance& c) {
    const auto n = [](double p) {
        return p > 0 && p < 0.005 ? std::string("<1")
               : p >= 0.995       ? std::string(">99")
                                  : fmt::format("{:.0f}", 100 * p);
    };
    return c.high - c.low < 0.005 ? n(c.high) + " in 100" : fmt::format("{} to {} in 100", n(c.low), n(c.high));
}

// Acts with their odds together, likeliest first.
std::string places_text(const mend::Answer& m, bool power_went) {
    std::vector<std::pair<std::string, double>> acts;
    for (const mend::Place& p : m.places) {
        const auto a = std::find_if(acts.begin(), acts.end(), [&](const auto& x) { return x.first == p.words; });
        if (a == acts.end())
            acts.emplace_back(p.words, p.p);
        else
            a->second += p.p;
    }
    std::string out = power_went ? "where it can have been\n" : "where it can be\n";
    for (const auto& [words, p] : acts) out += fmt::format("  {:<14} {}\n", chance_words({p, p}), words);
    return out;
}

std::string as_page(const mend::Answer& m, bool power_went) {
    std::string out;
    if (!m.places.empty()) out += places_text(m, power_went);
    if (!m.outcomes.empty()) {
        out += power_went ? "what that leaves\n" : "what losing its power there leaves\n";
        for (const auto& [o, c] : m.outcomes) out += fmt::format("  {:<14} {}\n", chance_words(c), cutmap::words(o));
    }
    for (const std::string& b : m.before) out += "before anything else\n  " + b + "\n";
    if (!m.attempts.empty()) out += "what may be tried, in this order\n";
    int n = 0;
    for (const mend::Attempt& t : m.attempts) {
        if (t.kind == MendKind::hand_over) {
            out += fmt::format("  then {}\n", t.words);
            continue;
        }
        out += fmt::format("  {} {}\n", ++n, t.words);
        out += fmt::format("    at most {}{}; helps in {}; shows it within {} (half), {} (9 in 10); by {}\n",
                           t.most == 1 ? "once" : fmt::format("{} times", t.most),
                           t.done > 0 ? fmt::format(", {} of them done", t.done) : "", chance_words(t.helps),
                           human_duration(t.p50_s), human_duration(t.p90_s), t.who);
        if (!t.writes.empty()) out += "    writes " + join(t.writes, ", ") + " and nothing else\n";
        if (!t.risk.empty()) out += "    " + t.risk + "\n";
        if (!t.stop.empty()) out += "    stop: " + t.stop + "\n";
    }
    if (!m.withheld.empty()) out += "what is not offered\n";
    for (const mend::Withheld& w : m.withheld) out += fmt::format("  {}: {}\n", code(w.kind), w.why);
    if (!m.stop_rule.empty()) out += "when to stop\n  " + m.stop_rule + "\n";
    if (!m.rests_on.empty()) out += "Rests on: " + m.rests_on + ".\n";
    return out;
}

}  // namespace

Answer mended(const workshop::Mended& m) {
    Answer a;
    a.level = m.level;
    a.judgement = m.judgement;
    a.headline = m.answer.sentence;
    if (m.dark_early) a.headline = "Wait: " + m.judgement.reasons.front().text + ". " + a.headline;
    a.text = as_page(m.answer, m.power_went);
    if (m.meaning)
        a.text += m.meaning->known
                      ? fmt::format("It shows \"{}\": {}; next: {} ({})\n", printable(m.shows), m.meaning->meaning,
                                    m.meaning->next, m.meaning->sure.words())
                      : fmt::format("It shows \"{}\", which the family file does not know; kept word for word.\n",
                                    printable(m.shows));
    a.data = as_data(m.answer);
    a.data["release"] = m.release;
    return a;
}

}  // namespace fettle::show
