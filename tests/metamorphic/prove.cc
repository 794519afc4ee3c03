// Proofs over random releases and what was found after their run. proved < partly < failed.
#include "fettle/prove/prove.h"

#include <algorithm>

#include "fettle/base/source_path.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

struct World {
    family::Family family;
    change::ChangeSheet sheet;
    change::InstalledList expected;
    change::SetState after;
    prove::Evidence evidence;
};

World world(Random& random) {
    static const family::Family dunnock = family::load_family(source_path("families/dunnock.toml")).value();
    World w;
    w.family = dunnock;
    family::Release release;
    release.family = w.family.id;
    release.release = "27.3.118";
    change::InstalledList found;
    found.origin = one_in(random, 4) ? Origin::typed : Origin::read;
    for (unsigned n = 2 + random() % 6; n > 0; --n) {
        family::Piece p{
            "piece-" + std::to_string(n), one_in(random, 3) ? "display" : "main", "system", "27.3.118", {}, {}};
        p.files.push_back({p.name, 1000, {}});
        found.pieces.push_back({p.box, p.name, one_in(random, 4) ? "27.3.118" : "27.1.110", ""});
        release.pieces.push_back(p);
    }
    const change::SetState set = {{"main", {"27.1.110", "C", "NS", 1}}, {"display", {"27.1.110", "A", "NS", 1}}};
    w.sheet = change::change_sheet(w.family, release, found, set);
    w.expected = change::after(w.sheet, release, found);
    w.after = change::set_after(w.family, set, release);
    prove::Evidence& e = w.evidence;
    if (!one_in(random, 5)) {
        e.as_left = w.expected;
        e.as_left->origin = one_in(random, 3) ? Origin::typed : Origin::read;
        for (auto& p : e.as_left->pieces) {
            p.sha256.clear();
            if (one_in(random, 12)) p.version = "27.1.110";
        }
        if (one_in(random, 6)) e.as_left->pieces.pop_back();
    }
    if (!one_in(random, 5)) e.release_shown = one_in(random, 12) ? "27.1.110" : "27.3.118";
    const auto& t = w.sheet.tally;
    if (!one_in(random, 4))
        e.tally = prove::Counted{t.landed.expected - (one_in(random, 10) ? 1 : 0), t.passed_over.expected,
                                 t.refused.expected, 0};
    if (!one_in(random, 5)) e.run_ended = !one_in(random, 10);
    if (!one_in(random, 4)) e.settled_s = one_in(random, 4) ? 5 : 300;
    for (const char* role : {"main", "display"}) {
        if (one_in(random, 3)) continue;
        e.history_before[role] = {"26.4.102", "27.1.110"};
        e.history_after[role] = {"26.4.102", "27.1.110", one_in(random, 10) ? "27.2.001" : "27.3.118"};
        e.path[role] = {"27.3.118"};
    }
    for (const auto& trial : w.family.trials)
        if (trial.when_complaint_has.empty() && !one_in(random, 4)) e.tried.push_back(trial.words);
    return w;
}

prove::Answer ask(const World& w) {
    return prove::prove(w.family, w.sheet, w.expected, w.after, w.evidence);
}

Outcome not_better(const World& before, const World& after, const std::string& by) {
    const auto a = ask(before), b = ask(after);
    if (b.proof < a.proof)
        return {true, fmt::format("{} turns {} into {}: {}", by, words(a.proof), words(b.proof), b.sentence)};
    return {};
}

Outcome any_order(const World& w, Random& random) {
    if (!w.evidence.as_left) return not_asked;
    World other = w;
    std::shuffle(other.evidence.as_left->pieces.begin(), other.evidence.as_left->pieces.end(), random);
    std::shuffle(other.evidence.tried.begin(), other.evidence.tried.end(), random);
    const auto a = ask(w), b = ask(other);
    if (a.proof == b.proof && a.sentence == b.sentence && a.judgement.verdict() == b.judgement.verdict()) return {};
    return {true, "in another order: " + a.sentence + " becomes " + b.sentence};
}

// Of a fact that is not there any more; what it spoke against may be forgotten with it, but nothing is proved by that.
Outcome less_known(const World& w, Random& random) {
    World other = w;
    prove::Evidence& e = other.evidence;
    std::string what;
    switch (random() % 7) {
        case 0: e.as_left.reset(), what = "the list"; break;
        case 1: e.release_shown.reset(), what = "the release that it shows"; break;
        case 2: e.tally.reset(), what = "its count"; break;
        case 3: e.run_ended.reset(), what = "that the run ended"; break;
        case 4: e.settled_s.reset(), what = "how long ago it ended"; break;
        case 5:
            if (e.tried.empty()) return not_asked;
            e.tried.pop_back(), what = "a trial";
            break;
        default: {
            auto& list = e.as_left;
            if (!list || list->pieces.empty()) return not_asked;
            list->pieces.erase(list->pieces.begin() + static_cast<std::ptrdiff_t>(random() % list->pieces.size()));
            what = "a line of the list";
        }
    }
    const auto a = ask(w), b = ask(other);
    if (a.proof != prove::Proof::proved && b.proof == prove::Proof::proved)
        return {true, "not knowing " + what + " proves it: " + b.sentence};
    return {};
}

Outcome spoken_against(const World& w, Random& random) {
    World other = w;
    prove::Evidence& e = other.evidence;
    switch (random() % 6) {
        case 0:
            if (!e.as_left || e.as_left->pieces.empty()) return not_asked;
            any_of_these(random, std::vector{&e.as_left->pieces.front(), &e.as_left->pieces.back()})->version = "1.0";
            return not_better(w, other, "a piece of another version");
        case 1: e.release_shown = "26.1.090"; return not_better(w, other, "another release shown");
        case 2: e.refused_texts.push_back("refused"); return not_better(w, other, "a piece refused");
        case 3:
            for (const auto& trial : w.family.trials) e.tried_bad.push_back(trial.words);
            return not_better(w, other, "every function tried and bad");
        case 4:
            if (!e.tally || !e.tally->landed) return not_asked;
            e.tally->refused = e.tally->refused.value_or(0) + 1;
            e.tally->landed = *e.tally->landed - 1;
            return not_better(w, other, "one refused instead of landed");
        default:
            if (e.history_after.empty()) return not_asked;
            e.history_after.begin()->second.push_back("26.1.090");
            return not_better(w, other, "a history that ends in another release");
    }
}

// Where nothing was read of a piece, or something else was, the proof is not whole.
Outcome proved_is_whole(const World& w, Random&) {
    const auto a = ask(w);
    if (a.proof != prove::Proof::proved) return not_asked;
    if (!a.missing.empty()) return {true, "proved, and yet it wants " + a.missing.front()};
    if (a.judgement.verdict() > Verdict::mind) return {true, "proved, with a worse verdict than mind"};
    for (const auto& p : a.pieces)
        if (p.state != prove::PieceState::as_expected && p.state != prove::PieceState::not_expected)
            return {true, "proved, and " + p.name + " is " + std::string(words(p.state))};
    return {};
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    const auto without = [&](auto leave) {
        World s = w;
        if (leave(s.evidence)) out.push_back(std::move(s));
    };
    without([](auto& e) { return std::exchange(e.as_left, std::nullopt).has_value(); });
    without([](auto& e) { return std::exchange(e.release_shown, std::nullopt).has_value(); });
    without([](auto& e) { return std::exchange(e.tally, std::nullopt).has_value(); });
    without([](auto& e) { return std::exchange(e.settled_s, std::nullopt).has_value(); });
    without([](auto& e) { return !std::exchange(e.history_after, {}).empty(); });
    return out;
}

std::string show(const World& w) {
    std::string out;
    const prove::Evidence& e = w.evidence;
    for (const auto& p : w.expected.pieces) out += fmt::format("  expected {} {} {}\n", p.box, p.name, p.version);
    if (e.as_left)
        for (const auto& p : e.as_left->pieces)
            out += fmt::format("  {} {} {} {}\n", words(e.as_left->origin), p.box, p.name, p.version);
    out += fmt::format("  shows {}, ended {}, settled {} s\n", e.release_shown.value_or("?"),
                       e.run_ended ? (*e.run_ended ? "yes" : "no") : "?", e.settled_s.value_or(-1));
    const auto a = ask(w);
    out += fmt::format("  {}\n", a.sentence);
    for (const auto& r : a.judgement.reasons) out += fmt::format("    {} {}: {}\n", words(r.verdict), r.code, r.text);
    return out;
}

TEST(Metamorphic, Prove) {
    run(Suite<World>{"prove",
                     world,
                     smaller,
                     show,
                     {{"in another order it is the same proof", any_order},
                      {"a fact less proves nothing", less_known},
                      {"what speaks against it never betters the proof", spoken_against},
                      {"proved is whole", proved_is_whole}}},
        200);
}

}  // namespace
}  // namespace fettle::metamorphic
