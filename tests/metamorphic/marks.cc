// What a broken run's marks say, whatever way they came into the journal. Times are a person's: no sooner noted than
// seen, and no more exact than a second.
#include <algorithm>

#include "fettle/base/source_path.h"
#include "fettle/family/family.h"
#include "fettle/workshop/mend_job.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

constexpr UnixMs began = 1'700'000'000'000;

const family::Family& family_of(std::size_t number) {
    static const std::vector<family::Family> all = [] {
        std::vector<family::Family> out;
        for (const char* id : {"brill", "pelm", "dunnock"})
            out.push_back(family::load_family(source_path(fmt::format("families/{}.toml", id))).value());
        return out;
    }();
    return all[number % all.size()];
}

struct Tap {
    std::string event;
    UnixMs after_ms = 0;
    bool undone = false;
};

struct World {
    std::size_t family = 0;
    std::vector<Tap> taps;  // in order of time
    UnixMs trouble_ms = 0;
};

World world(Random& random) {
    World w;
    w.family = random() % 3;
    UnixMs at = 0;
    for (const family::Act& act : family_of(w.family).script) {
        at += 1 + static_cast<UnixMs>(random() % 90'000);
        if (one_in(random, 2)) w.taps.push_back({act.id, at, one_in(random, 8)});
        if (one_in(random, 6)) w.taps.push_back({one_in(random, 2) ? "dark" : "back", at + 1500, false});
    }
    w.trouble_ms = at + static_cast<UnixMs>(random() % 60'000);
    w.taps.resize(std::min<std::size_t>(w.taps.size(), 1 + random() % 9));
    return w;
}

mend::Seen seen(const World& w, const std::vector<Tap>& taps) {
    workshop::JobRun run;
    run.family = family_of(w.family);
    run.job.runs.emplace_back();
    book::Run& last = run.job.runs.back();
    last.started = began;
    for (const Tap& t : taps) {
        book::RunMark m;
        m.entry = static_cast<std::int64_t>(last.marks.size()) + 10;
        m.event = t.event;
        m.at = began + t.after_ms;
        m.source = "tap";
        m.undone = t.undone;
        last.marks.push_back(std::move(m));
    }
    return workshop::seen_of(run, began + w.trouble_ms);
}

std::string words_of(const mend::Seen& s) {
    return fmt::format("{} at {:.3f} s, alive {:.3f} s, trouble {:.3f} s, {} landed, {}{}", s.act, s.act_at_s,
                       s.alive_s, s.trouble_s, s.landed.value_or(-1), s.ended ? "ended " : "",
                       s.refused ? "refused" : "");
}

Outcome same(const mend::Seen& one, const mend::Seen& other, const std::string& by) {
    if (words_of(one) == words_of(other)) return {};
    return {true, by + ": " + words_of(one) + " becomes " + words_of(other)};
}

Outcome typed_in_another_order(const World& w, Random& random) {
    if (w.taps.size() < 2) return not_asked;
    std::vector<Tap> other = w.taps;
    std::shuffle(other.begin(), other.end(), random);
    return same(seen(w, w.taps), seen(w, other), "typing the marks in another order");
}

Outcome two_within_a_second(const World& w, Random& random) {
    if (w.taps.size() < 2) return not_asked;
    std::vector<Tap> one = w.taps;
    const std::size_t at = random() % (one.size() - 1);
    const UnixMs apart = static_cast<UnixMs>(random() % 1001);
    // Nothing else near them: a moment that reaches further is another question.
    for (std::size_t i = 0; i < one.size(); ++i)
        if (i != at && i != at + 1 && std::abs(one[i].after_ms - one[at].after_ms) < 4000) return not_asked;
    if (one[at].undone || one[at + 1].undone || one[at].after_ms + apart >= w.trouble_ms) return not_asked;
    one[at + 1].after_ms = one[at].after_ms + apart;
    std::vector<Tap> other = one;
    std::swap(other[at].after_ms, other[at + 1].after_ms);
    return same(seen(w, one), seen(w, other), "the other of two within a second first");
}

Outcome what_was_taken_back(const World& w, Random& random) {
    std::vector<Tap> other = w.taps;
    const auto& script = family_of(w.family).script;
    other.push_back({script[random() % script.size()].id, static_cast<UnixMs>(random() % 600'000), true});
    return same(seen(w, w.taps), seen(w, other), "a mark that was taken back");
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    for (std::size_t i = 0; i < w.taps.size(); ++i) {
        World s = w;
        s.taps.erase(s.taps.begin() + static_cast<std::ptrdiff_t>(i));
        out.push_back(std::move(s));
    }
    return out;
}

std::string show(const World& w) {
    std::string out = "  " + family_of(w.family).id + "\n";
    for (const Tap& t : w.taps)
        out += fmt::format("  {:.3f} s: {}{}\n", static_cast<double>(t.after_ms) / 1000, t.event,
                           t.undone ? ", taken back" : "");
    return out + fmt::format("  {:.3f} s: trouble\n", static_cast<double>(w.trouble_ms) / 1000);
}

TEST(Metamorphic, Marks) {
    run(Suite<World>{"marks",
                     world,
                     smaller,
                     show,
                     {{"typed in another order they say the same", typed_in_another_order},
                      {"two within a second say the same whichever is first", two_within_a_second},
                      {"a mark that was taken back says nothing", what_was_taken_back}}},
        100);
}

}  // namespace
}  // namespace fettle::metamorphic
