// One step of random releases: what is written, how long it takes, and what a power cut leads to.
#include <algorithm>

#include "fettle/base/source_path.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/forecast/forecast.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

struct World {
    family::Family family;
    family::Release release;
    change::InstalledList found;
    change::SetState set;
};

World world(Random& random) {
    static const std::vector<family::Family> families = [] {
        std::vector<family::Family> out;
        for (const char* name : {"dunnock", "brill", "pelm"})
            out.push_back(family::load_family(source_path("families/" + std::string(name) + ".toml")).value());
        return out;
    }();
    World w;
    w.family = any_of_these(random, families);
    w.release.family = w.family.id;
    w.release.release = "27.3.118";
    w.found.origin = one_in(random, 4) ? Origin::typed : Origin::read;
    std::vector<std::pair<std::string, std::string>> places;  // box, region
    for (const auto& act : w.family.script)
        if (!act.box.empty() && !act.region.empty()) places.emplace_back(act.box, act.region);
    if (places.empty()) places.emplace_back(w.family.boxes.front().role, "");
    for (unsigned n = 2 + random() % 6; n > 0; --n) {
        const auto& [box, region] = any_of_these(random, places);
        family::Piece p{"piece-" + std::to_string(n), box, region, "27.3.118", {}, {}};
        p.files.push_back({p.name, 100'000 + random() % 900'000, {}});
        if (!one_in(random, 6))
            w.found.pieces.push_back({box, p.name, one_in(random, 3) ? "27.3.118" : "27.1.110", ""});
        w.release.pieces.push_back(p);
    }
    for (const auto& b : w.family.boxes) w.set[b.role] = {"27.1.110", "C", "NS", 1};
    return w;
}

struct Step {
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;
};

Step ask(const World& w, int cuts = 1) {
    Step s;
    s.sheet = change::change_sheet(w.family, w.release, w.found, w.set);
    s.forecast = forecast::forecast(w.family, s.sheet, {});
    s.map = cutmap::power_cut_map(w.family, s.sheet, s.forecast, cuts);
    return s;
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    for (std::size_t i = 0; i < w.release.pieces.size() && w.release.pieces.size() > 1; ++i) {
        World s = w;
        std::erase_if(s.found.pieces, [&](const Installed& p) { return p.name == w.release.pieces[i].name; });
        s.release.pieces.erase(s.release.pieces.begin() + static_cast<std::ptrdiff_t>(i));
        out.push_back(std::move(s));
    }
    return out;
}

std::string show(const World& w) {
    std::string out = "  family " + w.family.id + "\n";
    for (const auto& p : w.release.pieces) {
        const auto* found = w.found.find(p.box, p.name);
        out += fmt::format("  {} {} {}: {} bytes, found {}\n", p.box, p.region, p.name, p.files.front().size,
                           found ? found->version : "nothing");
    }
    return out;
}

Outcome order_says_nothing(const World& w, Random& random) {
    if (w.found.pieces.size() < 2) return not_asked;
    World other = w;
    std::shuffle(other.found.pieces.begin(), other.found.pieces.end(), random);
    const Step a = ask(w), b = ask(other);
    if (a.sheet.bytes != b.sheet.bytes || a.forecast.total.p90_s != b.forecast.total.p90_s ||
        a.map.no_way_back_p90_s != b.map.no_way_back_p90_s)
        return {true, "the list in another order gives another step"};
    return {};
}

Outcome counts_add_up(const World& w, Random&) {
    const auto s = ask(w).sheet;
    const auto& t = s.tally;
    if (t.landed.expected + t.passed_over.expected + t.refused.expected != t.total)
        return {true, fmt::format("{} landed, {} passed over and {} refused are not {}", t.landed.expected,
                                  t.passed_over.expected, t.refused.expected, t.total)};
    for (const auto& c : {t.landed, t.passed_over, t.refused})
        if (c.low > c.expected || c.expected > c.high) return {true, "an expected count lies outside of its range"};
    return {};
}

Outcome what_is_there_is_not_written(const World& w, Random& random) {
    World other = w;
    std::vector<Installed*> old;
    for (Installed& p : other.found.pieces)
        if (p.version != w.release.release) old.push_back(&p);
    if (old.empty()) return not_asked;
    any_of_these(random, old)->version = w.release.release;
    const Step before = ask(w), after = ask(other);
    if (after.sheet.nothing_to_do()) return not_asked;
    if (after.sheet.bytes > before.sheet.bytes) return {true, "a piece that is there makes more to write"};
    if (after.forecast.total.p90_s > before.forecast.total.p90_s * 1.01)
        return {true, fmt::format("a piece that is there makes it longer: {:.0f} s, before {:.0f} s",
                                  after.forecast.total.p90_s, before.forecast.total.p90_s)};
    return {};
}

Outcome more_bytes_are_no_sooner(const World& w, Random& random) {
    World other = w;
    auto& file = other.release.pieces[random() % other.release.pieces.size()].files.front();
    file.size *= 3;
    const auto before = ask(w).forecast.total, after = ask(other).forecast.total;
    if (after.p50_s < before.p50_s * 0.99 || after.p90_s < before.p90_s * 0.99)
        return {true, fmt::format("more bytes are sooner: {:.0f} s, before {:.0f} s", after.p50_s, before.p50_s)};
    return {};
}

Outcome another_cut_betters_nothing(const World& w, Random&) {
    if (w.release.pieces.size() > 4) return not_asked;  // two cuts of a long step take their time
    const auto one = ask(w, 1).map, two = ask(w, 2).map;
    if (one.moments.size() != two.moments.size()) return {true, "a map of two cuts has other moments"};
    for (std::size_t i = 0; i < one.moments.size(); ++i) {
        if (two.moments[i].outcomes != one.moments[i].outcomes)
            return {true, "one cut leads elsewhere in a map of two"};
        if (!two.moments[i].two_cuts.empty() && cutmap::badness(cutmap::worst(two.moments[i].two_cuts)) <
                                                    cutmap::badness(cutmap::worst(one.moments[i].outcomes)))
            return {true, "a second cut betters what the first leads to"};
    }
    return {};
}

Outcome an_unknown_boot_order_betters_nothing(const World& w, Random&) {
    if (w.family.boot.empty()) return not_asked;
    World other = w;
    other.family.boot.clear();
    const auto known = ask(w).map, unknown = ask(other).map;
    if (may_start(unknown.judgement.verdict())) return {true, "a map without boot order says that all is well"};
    return never_betters(known.judgement.verdict(), unknown.judgement.verdict(), "not knowing the boot order");
}

Outcome the_box_state_less_known_betters_nothing(const World& w, Random& random) {
    World other = w;
    auto box = other.set.begin();
    std::advance(box, static_cast<std::ptrdiff_t>(random() % other.set.size()));
    std::string what;
    switch (random() % 3) {
        case 0: box->second.issue.clear(), what = "the issue letter"; break;
        case 1: box->second.market.clear(), what = "the market"; break;
        default: box->second.counter.reset(), what = "the counter"; break;
    }
    const auto before = change::fit(w.family, w.release, w.set), after = change::fit(w.family, w.release, other.set);
    return never_opens(before.verdict(), after.verdict(), "not knowing " + what);
}

}  // namespace

TEST(Metamorphic, Step) {
    run(Suite<World>{"step",
                     world,
                     smaller,
                     show,
                     {{"the list in another order is the same step", order_says_nothing},
                      {"counts add up, and lie in their ranges", counts_add_up},
                      {"what is there already is not written", what_is_there_is_not_written},
                      {"more bytes are no sooner", more_bytes_are_no_sooner},
                      {"another cut betters nothing", another_cut_betters_nothing},
                      {"an unknown boot order betters nothing", an_unknown_boot_order_betters_nothing},
                      {"less known of a box opens nothing", the_box_state_less_known_betters_nothing}}},
        20);
}

}  // namespace fettle::metamorphic
