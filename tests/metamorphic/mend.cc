// Mend over random runs that broke: brill, pelm and dunnock by their own files.
#include "fettle/mend/mend.h"

#include <algorithm>

#include "fettle/base/source_path.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

struct Base {
    family::Family family;
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;
};

const Base& base(std::size_t number) {
    static const std::vector<Base> all = [] {
        std::vector<Base> out;
        for (const char* id : {"brill", "pelm", "dunnock", "brill"}) {
            Base b;
            b.family = family::load_family(source_path(fmt::format("families/{}.toml", id))).value();
            if (out.size() == 3) b.family.boot.clear();  // of which the boot order is not known
            b.sheet.from = "1.0.1";
            b.sheet.to = "1.0.2";
            for (const auto& r : b.family.regions)
                for (int i = 0; i < 3; ++i) {
                    change::Line line;
                    line.box = r.box;
                    line.name = fmt::format("{}-{}", r.name, i);
                    line.region = r.name;
                    line.before = "1";
                    line.after = "2";
                    line.bytes = 2 << 20;
                    b.sheet.lines.push_back(line);
                }
            b.sheet.tally.total = static_cast<int>(b.sheet.lines.size());
            b.forecast = forecast::forecast(b.family, b.sheet, {});
            b.map = cutmap::power_cut_map(b.family, b.sheet, b.forecast, 2);
            out.push_back(std::move(b));
        }
        return out;
    }();
    return all[number % all.size()];
}

struct Sign {
    std::size_t act = 0;
    double at_s = 0;
};

struct World {
    std::size_t base = 0;
    std::vector<Sign> signs;  // in order of time
    double trouble_s = 0;
    mend::Found found;
    std::vector<Tried> tried;
};

// A run as it goes, at a pace of its own; it is seen to begin some of its acts.
World world(Random& random) {
    World w;
    w.base = random() % 4;
    const Base& b = base(w.base);
    const double pace = 0.7 + static_cast<double>(random() % 80) / 100;
    const double until_s = static_cast<double>(random() % 1000) / 1000 * 1.1 * b.forecast.total.p90_s * pace;
    double at_s = 0;
    for (std::size_t k = 0; k < b.family.script.size() && at_s < until_s; ++k) {
        if (one_in(random, 2)) w.signs.push_back({k, at_s});
        at_s += b.forecast.states[k].lasts.p50_s * pace;
    }
    w.trouble_s = until_s + static_cast<double>(random() % 60);
    w.found.power = any_of_these<mend::Power>(
        random, {mend::Power::lost, mend::Power::lost, mend::Power::kept, mend::Power::not_said});
    w.found.now = any_of_these<mend::Now>(
        random, {mend::Now::starts, mend::Now::recovery, mend::Now::goes_on, mend::Now::dark, mend::Now::not_said});
    w.found.supply_holds = one_in(random, 2);
    if (one_in(random, 3)) w.found.release = one_in(random, 2) ? "1.0.1" : "1.0.2";
    if (one_in(random, 3)) w.tried.push_back({MendKind::same_card, Came::nothing});
    return w;
}

mend::Answer ask(const World& w) {
    const Base& b = base(w.base);
    mend::Question q{b.family, b.sheet, b.forecast, b.map, {}, w.found, w.tried, {}, {}};
    if (!w.signs.empty()) {
        q.seen.act = b.family.script[w.signs.back().act].id;
        q.seen.act_at_s = q.seen.alive_s = w.signs.back().at_s;
    }
    q.seen.trouble_s = std::max(q.seen.alive_s, w.trouble_s);
    return mend::mend(q);
}

// Nobody does anything to the box by these.
bool is_an_act(MendKind kind) {
    return kind != MendKind::wait && kind != MendKind::hand_over;
}

// Attempts of the second that the first has not, unless it says that they are of no use: none that could harm.
Outcome never_offers_more(const mend::Answer& told, const mend::Answer& less, const std::string& by) {
    for (const auto& t : less.attempts) {
        if (!is_an_act(t.kind)) continue;
        const bool has =
            std::any_of(told.attempts.begin(), told.attempts.end(), [&](const auto& o) { return o.kind == t.kind; });
        const bool of_no_use = std::any_of(told.withheld.begin(), told.withheld.end(), [&](const auto& h) {
            return h.kind == t.kind && (h.why.find("reads no card") != std::string::npos ||
                                        h.why.find("nothing on the map fits") != std::string::npos);
        });
        if (!has && !of_no_use) return {true, by + fmt::format(" makes it offer \"{}\"", code(t.kind))};
    }
    return {};
}

Outcome not_saying(const World& w, Random& random) {
    World other = w;
    std::string what;
    if (one_in(random, 2)) {
        if (w.found.now == mend::Now::not_said) return not_asked;
        other.found.now = mend::Now::not_said;
        what = "what it does now";
    } else {
        if (w.found.power == mend::Power::not_said) return not_asked;
        other.found.power = mend::Power::not_said;
        what = "whether it lost power";
    }
    const auto told = ask(w), less = ask(other);
    for (const auto& t : less.attempts)
        if (is_an_act(t.kind)) return {true, "not saying " + what + fmt::format(" it offers \"{}\"", code(t.kind))};
    return never_opens(told.judgement.verdict(), less.judgement.verdict(), "not saying " + what);
}

Outcome a_mark_less(const World& w, Random&) {
    if (w.signs.empty()) return not_asked;
    World other = w;
    other.signs.pop_back();
    return never_offers_more(ask(w), ask(other), "leaving out the last mark");
}

Outcome an_earlier_mark_less(const World& w, Random& random) {
    if (w.signs.size() < 2) return not_asked;
    World other = w;
    other.signs.erase(other.signs.begin() + static_cast<std::ptrdiff_t>(random() % (w.signs.size() - 1)));
    const auto a = ask(w), b = ask(other);
    if (a.sentence == b.sentence && a.judgement.reasons == b.judgement.reasons) return {};
    return {true, "leaving out a mark before the last: " + a.sentence + " becomes " + b.sentence};
}

Outcome asks_before_it_offers(const World& w, Random&) {
    if (w.found.now != mend::Now::not_said && w.found.power != mend::Power::not_said) return not_asked;
    const auto a = ask(w);
    if (a.look.empty()) return {true, "something is not said, and it asks nothing"};
    if (may_start(a.judgement.verdict())) return {true, "something is not said, and it is no can't say"};
    const bool worsened =
        std::any_of(w.tried.begin(), w.tried.end(), [](const auto& t) { return t.came == Came::worse; });
    if (a.stop && !worsened) return {true, "something is not said, and it says stop"};
    if (w.found.power != mend::Power::lost) return {};
    for (const auto& t : a.attempts)
        if (t.kind != MendKind::hand_over) return {true, fmt::format("without a look it offers \"{}\"", code(t.kind))};
    return {};
}

Outcome a_supply_that_may_fail(const World& w, Random&) {
    if (!w.found.supply_holds) return not_asked;
    World other = w;
    other.found.supply_holds = false;
    return never_offers_more(ask(w), ask(other), "not saying that the supply holds");
}

Outcome no_net_is_written_over(const World& w, Random&) {
    const auto a = ask(w);
    bool asked = false;
    for (const auto& t : a.attempts) {
        if (t.kind != MendKind::power_off_and_on) continue;
        asked = true;
        for (const auto& place : a.places)
            for (const auto o : place.outcomes)
                if (cutmap::no_way_back(o))
                    return {true, "its power is to be taken where that may end with " + std::string(cutmap::words(o))};
    }
    return {asked, {}};
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    for (std::size_t i = 0; i < w.signs.size(); ++i) {
        World s = w;
        s.signs.erase(s.signs.begin() + static_cast<std::ptrdiff_t>(i));
        out.push_back(std::move(s));
    }
    World s = w;
    s.tried.clear();
    if (!w.tried.empty()) out.push_back(s);
    s = w;
    s.found.release.clear();
    if (!w.found.release.empty()) out.push_back(s);
    return out;
}

std::string show(const World& w) {
    const Base& b = base(w.base);
    std::string out = fmt::format("  {}{}\n", b.family.id, b.family.boot.empty() ? ", boot order not known" : "");
    for (const Sign& s : w.signs) out += fmt::format("  {:.0f} s: {}\n", s.at_s, b.family.script[s.act].id);
    out += fmt::format("  {:.0f} s: trouble; power \"{}\", now \"{}\", release \"{}\", supply {}\n", w.trouble_s,
                       words(w.found.power), words(w.found.now), w.found.release,
                       w.found.supply_holds ? "holds" : "not said");
    const auto a = ask(w);
    for (const auto& t : a.attempts) out += fmt::format("    offered: {}\n", code(t.kind));
    for (const auto& h : a.withheld) out += fmt::format("    withheld: {}, {}\n", code(h.kind), h.why);
    return out + "    " + a.sentence + "\n";
}

TEST(Metamorphic, Mend) {
    run(Suite<World>{"mend",
                     world,
                     smaller,
                     show,
                     {{"what is not said offers nothing, and opens nothing", not_saying},
                      {"the last mark less offers nothing more that could harm", a_mark_less},
                      {"a mark before the last changes nothing", an_earlier_mark_less},
                      {"it asks before it offers", asks_before_it_offers},
                      {"a supply that may fail offers nothing more", a_supply_that_may_fail},
                      {"power is taken only where that has a way back", no_net_is_written_over}}},
        30);
}

}  // namespace
}  // namespace fettle::metamorphic
