// Labels and views, typed by somebody who may be wrong.
#include "fettle/identity/identity.h"

#include <algorithm>

#include "fettle/base/source_path.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

const std::vector<family::Family>& families() {
    static const std::vector<family::Family> all = [] {
        std::vector<family::Family> out;
        for (const char* id : {"dunnock", "brill", "pelm"})
            out.push_back(family::load_family(source_path(fmt::format("families/{}.toml", id))).value());
        return out;
    }();
    return all;
}

struct World {
    std::vector<std::string> plates, views;
    std::vector<std::string> right;  // the plates before anybody mistyped one
    std::optional<int> housings;
};

// ISO/IEC 7064:2003, MOD 11-2, over the digits before the issue letter.
char check_character(const std::string& digits) {
    int p = 0;
    for (const char c : digits) p = (p + (c - '0')) * 2 % 11;
    const int check = (12 - p) % 11;
    return check == 10 ? 'X' : static_cast<char>('0' + check);
}

std::string plate(Random& random, const std::string& role) {
    std::string digits = role;
    for (int i = 0; i < 5; ++i) digits += static_cast<char>('0' + random() % 10);
    return digits + static_cast<char>('A' + random() % 4) + check_character(digits);
}

World world(Random& random) {
    World w;
    if (one_in(random, 4)) {
        w.right = {plate(random, any_of_these(random, std::vector<std::string>{"52", "73"}))};
    } else {
        w.right = {plate(random, "61"), plate(random, "64")};
        if (one_in(random, 4)) w.right.pop_back();
    }
    w.plates = w.right;
    if (one_in(random, 3)) {
        std::string& typed = w.plates[random() % w.plates.size()];
        typed[random() % typed.size()] =
            any_of_these(random, std::vector<char>{'0', '1', '4', '8', 'O', 'I', 'B', 'S'});
    }
    if (!one_in(random, 4)) w.views = {one_in(random, 8) ? "27.1.1l0 NS" : "27.1.110 NS"};
    if (one_in(random, 2)) w.housings = static_cast<int>(w.plates.size()) + (one_in(random, 6) ? 1 : 0);
    return w;
}

identity::Identity ask(const World& w) {
    identity::Given g;
    for (const auto& p : w.plates) g.plates.push_back({p, identity::Source::typed, {}});
    for (const auto& v : w.views) g.views.push_back({v, identity::Source::typed, {}});
    g.intake.housings = w.housings;
    return identity::identify(families(), g);
}

Outcome same(const World& w, const World& other, const std::string& by) {
    const auto a = ask(w), b = ask(other);
    bool equal = a.family == b.family && a.judgement.verdict() == b.judgement.verdict() && a.release == b.release &&
                 a.market == b.market && a.boxes.size() == b.boxes.size();
    for (std::size_t i = 0; equal && i < a.boxes.size(); ++i)
        equal = a.boxes[i].role == b.boxes[i].role && a.boxes[i].plate == b.boxes[i].plate;
    if (equal) return {};
    return {true, fmt::format("{}: {} ({}) becomes {} ({})", by, a.family, words(a.judgement.verdict()), b.family,
                              words(b.judgement.verdict()))};
}

Outcome any_order(const World& w, Random&) {
    if (w.plates.size() < 2) return not_asked;
    World other = w;
    std::reverse(other.plates.begin(), other.plates.end());
    return same(w, other, "in another order");
}

Outcome blanks_around(const World& w, Random&) {
    World other = w;
    for (auto& p : other.plates) p = "  " + p + " ";
    for (auto& v : other.views) v = " " + v + "\t";
    return same(w, other, "with blanks around");
}

Outcome said_twice(const World& w, Random&) {
    if (w.views.empty()) return not_asked;
    World other = w;
    other.views.push_back(w.views.front());
    return same(w, other, "a view typed twice");
}

// The check character finds every single wrong digit of the number (ISO/IEC 7064): so none is taken for another box.
Outcome never_another_box(const World& w, Random&) {
    const auto a = ask(w);
    if (w.plates == w.right || !may_start(a.judgement.verdict())) return not_asked;
    for (const auto& box : a.boxes) {
        const bool is_right = std::any_of(w.right.begin(), w.right.end(), [&](const std::string& r) {
            return r.substr(0, 7) == box.plate.substr(0, 7);  // of its issue letter only a person can tell
        });
        if (!is_right) return {true, box.typed + " is taken for " + box.plate};
    }
    return {};
}

Outcome never_another_box_or_fit(const World& w, Random&) {
    const auto a = ask(w);
    for (std::size_t i = 0; i < w.plates.size(); ++i)
        if (w.plates[i].substr(0, 7) != w.right[i].substr(0, 7))
            return a.judgement.verdict() == Verdict::fit ? Outcome{true, w.plates[i] + " is fit as it stands"}
                                                         : Outcome{};
    return not_asked;
}

Outcome contradicted(const World& w, Random& random) {
    if (w.views.empty()) return not_asked;
    World other = w;
    other.views.push_back(one_in(random, 2) ? "27.3.118 NS" : "27.1.110 MD");
    const auto before = ask(w).judgement.verdict(), after = ask(other).judgement.verdict();
    if (may_start(after)) return {true, "two views that differ are " + std::string(words(after))};
    return never_betters(before, after, "a second view that differs");
}

Outcome another_family_beside(const World& w, Random& random) {
    World other = w;
    other.plates.push_back(plate(random, w.plates.front().starts_with("52") ? "73" : "52"));
    const auto after = ask(other).judgement.verdict();
    if (may_start(after)) return {true, "a plate of another family beside them is " + std::string(words(after))};
    return {};
}

Outcome more_housings(const World& w, Random&) {
    World other = w;
    other.housings = static_cast<int>(w.plates.size()) + 2;
    World none = w;
    none.housings.reset();
    return never_betters(ask(none).judgement.verdict(), ask(other).judgement.verdict(), "more housings than plates");
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    if (w.plates.size() > 1) {
        World s = w;
        s.plates.pop_back();
        s.right.pop_back();
        out.push_back(s);
    }
    if (!w.views.empty()) {
        World s = w;
        s.views.clear();
        out.push_back(s);
    }
    if (w.housings) {
        World s = w;
        s.housings.reset();
        out.push_back(s);
    }
    return out;
}

std::string show(const World& w) {
    std::string out;
    for (std::size_t i = 0; i < w.plates.size(); ++i) out += fmt::format("  {} (is {})\n", w.plates[i], w.right[i]);
    for (const auto& v : w.views) out += "  view " + v + "\n";
    if (w.housings) out += fmt::format("  {} housings\n", *w.housings);
    const auto a = ask(w);
    for (const auto& r : a.judgement.reasons) out += fmt::format("    {} {}: {}\n", words(r.verdict), r.code, r.text);
    return out;
}

TEST(Metamorphic, Identity) {
    run(Suite<World>{"identity",
                     world,
                     smaller,
                     show,
                     {{"plates in another order are the same boxes", any_order},
                      {"blanks around say nothing", blanks_around},
                      {"a view typed twice is one view", said_twice},
                      {"a mistyped digit is never another box", never_another_box},
                      {"a mistyped digit is never fit as it stands", never_another_box_or_fit},
                      {"views that differ open nothing", contradicted},
                      {"a plate of another family opens nothing", another_family_beside},
                      {"more housings than plates never better", more_housings}}},
        60);
}

}  // namespace
}  // namespace fettle::metamorphic
