// Fault memories before and after a run, at random: what may be cleared, and what is explained.
#include "fettle/prove/faults.h"

#include <algorithm>

#include "fettle/base/source_path.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

struct World {
    family::Family family;
    prove::FaultMemory before, after;
    prove::Circumstances circumstances;
};

prove::Fault fault(Random& random, const family::Family& family) {
    static const std::vector<std::string> others = {"B1A4F-13", "U1402-00", "P0123-17", "U3003-16", "C3ABC-87"};
    prove::Fault f;
    f.box = any_of_these(random, family.boxes).role;
    f.code = any_of_these(random, others);
    if (!one_in(random, 5)) f.status = static_cast<std::uint8_t>(random());
    return f;
}

World world(Random& random) {
    static const family::Family dunnock = family::load_family(source_path("families/dunnock.toml")).value();
    World w;
    w.family = dunnock;
    const auto fill = [&](prove::FaultMemory& m) {
        if (one_in(random, 5)) return;
        m.entries.emplace();
        m.origin = one_in(random, 3) ? "typed" : "read";
        for (unsigned n = random() % 4; n > 0; --n) {
            auto f = fault(random, w.family);
            if (!m.find(f)) m.entries->push_back(f);
        }
    };
    fill(w.before);
    fill(w.after);
    auto& c = w.circumstances;
    c.on_bench = !one_in(random, 3);
    if (one_in(random, 3)) c.asks_skipped = {"asks"};
    if (one_in(random, 3)) c.lowest_V = 9.0 + static_cast<double>(random() % 50) / 10;
    return w;
}

prove::Faults ask(const World& w) {
    return prove::attribute(w.family, w.before, w.after, w.circumstances);
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    for (auto World::* memory : {&World::before, &World::after})
        for (std::size_t i = 0; (w.*memory).entries && i < (w.*memory).entries->size(); ++i) {
            World s = w;
            (s.*memory).entries->erase((s.*memory).entries->begin() + static_cast<std::ptrdiff_t>(i));
            out.push_back(std::move(s));
        }
    return out;
}

std::string show(const World& w) {
    std::string out;
    const auto list = [&](const char* when, const prove::FaultMemory& m) {
        out += fmt::format("  {}: {}\n", when, m.origin);
        if (m.entries)
            for (const auto& f : *m.entries)
                out += fmt::format("    {} {} {}\n", f.box, f.code,
                                   f.status ? fmt::format("{:02x}", *f.status) : "no status");
    };
    list("before", w.before);
    list("after", w.after);
    out += fmt::format("  {}, {} asks skipped\n", w.circumstances.on_bench ? "on the bench" : "in the vehicle",
                       w.circumstances.asks_skipped.size());
    for (const auto& e : ask(w).entries) out += fmt::format("  {}: {}, {}\n", e.fault.code, words(e.kind), e.why);
    return out;
}

Outcome order_says_nothing(const World& w, Random& random) {
    World other = w;
    for (auto World::* memory : {&World::before, &World::after})
        if ((other.*memory).entries)
            std::shuffle((other.*memory).entries->begin(), (other.*memory).entries->end(), random);
    const auto a = ask(w), b = ask(other);
    if (a.judgement.verdict() != b.judgement.verdict()) return {true, "another order, another verdict"};
    for (const auto& e : a.entries) {
        const auto same =
            std::find_if(b.entries.begin(), b.entries.end(), [&](const auto& o) { return o.fault == e.fault; });
        if (same == b.entries.end() || same->kind != e.kind || same->may_be_cleared != e.may_be_cleared)
            return {true, e.fault.code + " is attributed otherwise in another order"};
    }
    return {};
}

Outcome failing_now_is_never_cleared(const World& w, Random&) {
    bool any = false;
    for (const auto& e : ask(w).entries) {
        if (!e.fault.status || !prove::failing_now(*e.fault.status)) continue;
        any = true;
        if (e.may_be_cleared) return {true, e.fault.code + " is failing now, and may be cleared"};
    }
    return any ? Outcome{} : not_asked;
}

Outcome failing_betters_nothing(const World& w, Random& random) {
    if (!w.after.entries || w.after.entries->empty()) return not_asked;
    World other = w;
    auto& f = (*other.after.entries)[random() % other.after.entries->size()];
    if (!f.status) return not_asked;
    f.status = static_cast<std::uint8_t>(*f.status | 1);
    return never_betters(ask(w).judgement.verdict(), ask(other).judgement.verdict(), f.code + " failing now");
}

Outcome an_entry_more_betters_nothing(const World& w, Random& random) {
    if (!w.after.entries) return not_asked;
    World other = w;
    const auto f = fault(random, w.family);
    if (other.after.find(f)) return not_asked;
    other.after.entries->push_back(f);
    return never_betters(ask(w).judgement.verdict(), ask(other).judgement.verdict(), "an entry more");
}

Outcome not_read_before_betters_nothing(const World& w, Random&) {
    if (!w.before.entries) return not_asked;
    World other = w;
    other.before = {};
    return never_opens(ask(w).judgement.verdict(), ask(other).judgement.verdict(), "not reading it before");
}

Outcome not_read_is_never_fit(const World& w, Random&) {
    World other = w;
    other.after = {};
    const auto v = ask(other).judgement.verdict();
    return may_start(v) ? Outcome{true, fmt::format("not read after the run is {}", words(v))} : Outcome{};
}

Outcome a_status_less_clears_nothing(const World& w, Random& random) {
    if (!w.after.entries || w.after.entries->empty()) return not_asked;
    World other = w;
    const std::size_t i = random() % other.after.entries->size();
    if (!(*other.after.entries)[i].status) return not_asked;
    (*other.after.entries)[i].status.reset();
    const auto& code = (*w.after.entries)[i];
    const auto may = [&](const prove::Faults& f) {
        return std::any_of(f.entries.begin(), f.entries.end(), [&](const auto& e) {
            return e.fault.code == code.code && e.fault.box == code.box && e.may_be_cleared;
        });
    };
    if (!may(ask(w)) && may(ask(other))) return {true, code.code + " may be cleared once its status is not known"};
    return {};
}

}  // namespace

TEST(Metamorphic, Faults) {
    run(Suite<World>{"faults",
                     world,
                     smaller,
                     show,
                     {{"memories in another order say the same", order_says_nothing},
                      {"what fails now is never cleared", failing_now_is_never_cleared},
                      {"failing now betters nothing", failing_betters_nothing},
                      {"an entry more betters nothing", an_entry_more_betters_nothing},
                      {"a memory that was not read before opens nothing", not_read_before_betters_nothing},
                      {"a memory that was not read is never fit", not_read_is_never_fit},
                      {"a status less clears nothing", a_status_less_clears_nothing}}},
        800);
}

}  // namespace fettle::metamorphic
