#include "fettle/prove/faults.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::prove {
namespace {

const Fault* find(const std::vector<Fault>& list, const Fault& f) {
    for (const Fault& o : list) {
        if (o.code == f.code && (o.box == f.box || o.box.empty() || f.box.empty())) return &o;
    }
    return nullptr;
}

std::string named(const Fault& f) {
    return f.box.empty() ? f.code : f.box + " " + f.code;
}

class Attribution {
public:
    Attribution(const family::Family& family, const FaultMemory& before, const Circumstances& c)
        : family_(family), before_(before), c_(c) {}

    Attributed one(const Fault& f) const {
        Attributed a;
        a.fault = f;
        if (f.status && failing_now(*f.status) && misses_partner(f)) {
            a.kind = Kind::partner;
            a.why = fmt::format("{} is failing now, as it must while its partner is not on the bench (family file)",
                                named(f));
            a.next = "don't clear it here; read it again in the vehicle";
            return a;
        }
        if (f.status && failing_now(*f.status)) {
            a.kind = Kind::active;
            a.why = fmt::format("{} is failing now (testFailed is set in {:02X})", named(f), *f.status);
            a.next = "don't clear it; find the cause first";
            return a;
        }
        const Fault* earlier = before_.entries ? find(*before_.entries, f) : nullptr;
        if (earlier) {
            a.kind = Kind::there_before;
            a.why = fmt::format("{} stood there before the run ({})", named(f), before_.origin);
            a.next = "tell the owner; it is not of this job unless the complaint says so";
            a.may_be_cleared = false;
            return a;
        }
        if (explain(f, a)) return a;
        if (!before_.entries) {
            a.kind = Kind::not_comparable;
            a.why = fmt::format("whether {} was there before is not known: the memory was not read before", named(f));
            a.next = "find out what it means before anything is cleared";
            return a;
        }
        a.kind = Kind::new_unexplained;
        a.why = fmt::format("{} is new, and nothing known explains it", named(f));
        a.next = "find the cause; don't clear it until it is known";
        return a;
    }

private:
    // By the family's list, against what is known of the run. An entry whose status is not known may be failing now.
    bool explain(const Fault& f, Attributed& a) const {
        for (const family::FaultNote& n : family_.faults) {
            if (n.code != f.code) continue;
            if (!holds(n)) continue;
            a.kind = Kind::explained;
            a.why = fmt::format("{} ({}): explained by {} (family file)", named(f), n.words, cause(n));
            if (f.status) {
                a.may_be_cleared = true;
                a.next = "may be cleared by an authorised person once the memory is saved; then test again";
            } else {
                a.next = "its status is not known: read it before anybody clears it";
            }
            return true;
        }
        return false;
    }

    bool misses_partner(const Fault& f) const {
        return std::any_of(family_.faults.begin(), family_.faults.end(), [&](const family::FaultNote& n) {
            return n.code == f.code && n.explained_by == "partner not on the bench" && holds(n);
        });
    }

    bool holds(const family::FaultNote& n) const {
        if (n.explained_by == "skipped ask")
            return std::find(c_.asks_skipped.begin(), c_.asks_skipped.end(), n.ask) != c_.asks_skipped.end();
        if (n.explained_by == "partner not on the bench") return c_.on_bench;
        if (n.explained_by == "low supply")
            return c_.lowest_V && family_.supply && *c_.lowest_V < family_.supply->lowest_V;
        return false;
    }

    std::string cause(const family::FaultNote& n) const {
        if (n.explained_by == "skipped ask") return "the ask that was skipped";
        if (n.explained_by == "partner not on the bench") return "a partner that is not on the bench";
        return fmt::format("the supply, which fell to {:.1f} V", c_.lowest_V.value_or(0));
    }

    const family::Family& family_;
    const FaultMemory& before_;
    const Circumstances& c_;
};

Reason reason_of(const Attributed& a) {
    const std::string where = named(a.fault);
    switch (a.kind) {
        case Kind::there_before: return {"fault-there-before", Verdict::mind, a.why, where, "fault memory"};
        case Kind::explained: return {"fault-explained", Verdict::mind, a.why, where, "family file"};
        case Kind::partner: return {"fault-partner-absent", Verdict::mind, a.why, where, "family file, status byte"};
        case Kind::active: return {"fault-active", Verdict::halt, a.why, where, "status byte"};
        case Kind::new_unexplained: return {"fault-new", Verdict::cant_say, a.why, where, "fault memory"};
        case Kind::not_comparable: return {"fault-not-comparable", Verdict::cant_say, a.why, where, "not read"};
        case Kind::gone: return {"fault-gone", Verdict::fit, a.why, where, "fault memory"};
    }
    return {};
}

}  // namespace

std::string_view words(Kind k) {
    switch (k) {
        case Kind::there_before: return "there before";
        case Kind::explained: return "explained";
        case Kind::active: return "failing now";
        case Kind::partner: return "failing without its partner";
        case Kind::new_unexplained: return "new, not explained";
        case Kind::not_comparable: return "not comparable";
        case Kind::gone: return "gone";
    }
    return "new, not explained";
}

Faults attribute(const family::Family& family, const FaultMemory& before, const FaultMemory& after,
                 const Circumstances& circumstances) {
    Faults out;
    if (!after.entries) {
        out.sentence = "The fault memory was not read after the run; that is not the same as none.";
        out.judgement.add({"faults-not-read", Verdict::cant_say, "the fault memory was not read after the run",
                           "faults", "not read"});
        return out;
    }
    const Attribution attribution(family, before, circumstances);
    for (const Fault& f : *after.entries) out.entries.push_back(attribution.one(f));
    if (before.entries) {
        for (const Fault& f : *before.entries) {
            if (find(*after.entries, f)) continue;
            Attributed gone{f, Kind::gone, named(f) + " stood there before and no more", "nothing to do", false, false};
            out.entries.push_back(std::move(gone));
        }
    }
    int now = 0, active = 0;
    for (const Attributed& a : out.entries) {
        out.judgement.add(reason_of(a));
        now += a.kind != Kind::gone;
        active += a.kind == Kind::active;
    }
    if (now == 0) {
        out.judgement.add({"faults-none", Verdict::fit,
                           fmt::format("no fault entries after the run ({})", after.origin), "faults", after.origin});
        out.sentence = fmt::format("No fault entries after the run ({}).", after.origin);
    } else {
        out.sentence = fmt::format("{} {} after the run ({}){}.", now, now == 1 ? "fault entry" : "fault entries",
                                   after.origin, active ? fmt::format(", {} failing now", active) : "");
    }
    return out;
}

}  // namespace fettle::prove
