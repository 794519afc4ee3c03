#include "fettle/prove/faults.h"

#include <fmt/format.h>

#include <algorithm>
#include <unordered_map>

#include "fettle/base/text.h"

namespace fettle::prove {
namespace {

const Fault* find(const std::vector<Fault>& list, const Fault& f) {
    for (const Fault& o : list) {
        if (o.code == f.code && (o.box == f.box || o.box.empty() || f.box.empty())) return &o;
    }
    return nullptr;
}

// The same for many: entries by their code.
class ByCode {
public:
    explicit ByCode(const std::optional<std::vector<Fault>>& list) {
        if (list)
            for (const Fault& f : *list) entries_[f.code].push_back(&f);
    }
    const Fault* find(const Fault& f) const {
        const auto of_code = entries_.find(f.code);
        if (of_code == entries_.end()) return nullptr;
        for (const Fault* o : of_code->second)
            if (o->box == f.box || o->box.empty() || f.box.empty()) return o;
        return nullptr;
    }

private:
    std::unordered_map<std::string_view, std::vector<const Fault*>> entries_;
};

std::string named(const Fault& f) {
    return f.box.empty() ? f.code : f.box + " " + f.code;
}

const char* const kReadInVehicle = "don't clear it here; read it again in the vehicle, with its partner connected";

class Attribution {
public:
    Attribution(const family::Family& family, const FaultMemory& before, const FaultMemory& after,
                const Circumstances& c)
        : family_(family),
          before_(before),
          after_(after),
          c_(c),
          there_before_(before.entries),
          there_after_(after.entries) {}
    const Fault* now(const Fault& f) const { return there_after_.find(f); }

    // In this order: what was cleared, what only says that a test has not run, what fails now, what stood there, what
    // is explained.
    Attributed one(const Fault& f) const {
        Attributed a;
        a.fault = f;
        if (const Cleared* c = asked_to_clear(f)) return since_cleared(*c);
        if (f.status && !has_failed(*f.status)) {
            a.kind = Kind::not_tested;
            a.why = fmt::format("{} has not failed: its test has not run ({:02X})", named(f), *f.status);
            a.next = "nothing to do: it is no stored fault";
            return a;
        }
        const bool failing = f.status && failing_now(*f.status);
        if (!c_.on_bench && find(c_.missed_partner, f)) return in_the_vehicle(f);
        const Fault* earlier = there_before_.find(f);
        if ((misses_partner(f) && (failing || !earlier)) || (!earlier && likely_partner(f))) {
            a.kind = Kind::partner;
            a.why = partner_words(f, failing);
            a.next = kReadInVehicle;
            return a;
        }
        if (failing) {
            a.kind = Kind::active;
            a.why = fmt::format("{} is failing now (testFailed is set in {:02X})", named(f), *f.status);
            a.next = "don't clear it; find the cause first";
            return a;
        }
        if (earlier) {
            a.kind = Kind::there_before;
            a.why = fmt::format("{} stood there before the run ({})", named(f), before_.origin);
            a.next = "tell the owner; it is not of this job unless the complaint says so";
            return a;
        }
        if (explain(f, a)) return a;
        if (!before_.entries ||
            std::find(before_.unread.begin(), before_.unread.end(), f.box) != before_.unread.end()) {
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

    const Cleared* asked_to_clear(const Fault& f) const {
        const auto c = std::find_if(c_.cleared.begin(), c_.cleared.end(), [&](const Cleared& x) {
            return x.fault.code == f.code && (x.fault.box == f.box || x.fault.box.empty() || f.box.empty());
        });
        return c == c_.cleared.end() ? nullptr : &*c;
    }

    // An entry that was cleared, or asked to be: what the bits say since.
    Attributed since_cleared(const Cleared& c) const {
        Attributed a;
        const Fault* now = there_after_.find(c.fault);
        a.fault = now ? *now : c.fault;
        const Fault& f = a.fault;
        switch (retest_of(c, after_)) {
            case Retest::waits:
                a.kind = Kind::cleared_waits;
                a.why = fmt::format("{} was cleared, and its test has not run since (bit 4 in {:02X})", named(f),
                                    now && now->status ? *now->status : 0);
                a.next = "let its test run (ignition off and on, use the function), then read the memory again";
                break;
            case Retest::passed:
                a.kind = Kind::cleared_good;
                a.why = fmt::format("{} was cleared; its test has run since and did not fail", named(f));
                a.next = "nothing to do";
                break;
            case Retest::failed_again:
                a.kind = now && now->status && failing_now(*now->status) ? Kind::active : Kind::back;
                if (c_.on_bench && misses_partner(f)) {
                    a.kind = Kind::partner;
                    a.why = partner_words(*now, now->status && failing_now(*now->status));
                    a.next = kReadInVehicle;
                    break;
                }
                a.why = fmt::format("{} was asked to be cleared and stands there again ({:02X})", named(f),
                                    now && now->status ? *now->status : 0);
                a.next = "don't clear it again; find the cause";
                break;
            case Retest::cant_say:
                a.kind = Kind::cleared_unknown;
                a.why = not_known(c, now);
                a.next = "use the function it watches, then read the memory again";
                if (now && now->status && failing_now(*now->status) && !(c_.on_bench && misses_partner(f))) {
                    a.kind = Kind::active;
                    a.next = "don't clear it; find the cause first";
                }
                break;
        }
        return a;
    }

private:
    std::string not_known(const Cleared& c, const Fault* now) const {
        const std::string asked =
            c.answered
                ? named(c.fault) + " was cleared"
                : fmt::format("{} was asked to be cleared, and whether that was done is not known", named(c.fault));
        const bool unread = std::find(after_.unread.begin(), after_.unread.end(), c.fault.box) != after_.unread.end();
        if (unread || !c.read_since) return asked + "; its memory was not read since";
        if (now && now->status && has_failed(*now->status))
            return fmt::format("{}; it stands there ({:02X})", asked, *now->status);
        if (!now) return asked + "; it is not listed, and this box has not shown that it lists what waits for its test";
        if (after_.has_bit(c.fault.box, 0x10) && after_.availability.contains(c.fault.box) && c.since_s < least_wait_s)
            return fmt::format("{}; {:.0f} s later a reading proves nothing of its test", asked, c.since_s);
        return asked + "; whether its test has run since, the box does not say";
    }

    Attributed in_the_vehicle(const Fault& f) const {
        Attributed a;
        a.fault = f;
        if (!f.status) {
            a.kind = Kind::not_comparable;
            a.why =
                fmt::format("{} was explained by an absent partner; its status in the vehicle is not known", named(f));
            a.next = "read it with its status";
        } else if (failing_now(*f.status)) {
            a.kind = Kind::active;
            a.why = fmt::format("{} fails in the vehicle, too ({:02X}): the absent partner was not all of it", named(f),
                                *f.status);
            a.next = "don't clear it; find the cause: connector, fuse, the partner itself";
        } else if (!after_.has_bit(f.box, 0x41)) {
            a.kind = Kind::partner;
            a.why =
                fmt::format("{} ({:02X}): whether it was tested in the vehicle, and fails there, the box does not say",
                            named(f), *f.status);
            a.next = "use the function it watches, and look whether it comes back";
        } else if (not_tested_this_cycle(*f.status)) {
            a.kind = Kind::partner;
            a.why = fmt::format("{} has not been tested yet since ignition came on in the vehicle ({:02X})", named(f),
                                *f.status);
            a.next = "leave ignition on for some minutes and read again";
        } else {
            a.kind = Kind::partner_good;
            a.why = fmt::format("{} was tested in the vehicle and does not fail there ({:02X})", named(f), *f.status);
            a.next = "may be cleared by an authorised person once the memory is saved; then test again";
            a.may_be_cleared = true;
        }
        return a;
    }

    std::string partner_words(const Fault& f, bool failing) const {
        if (!misses_partner(f))
            return fmt::format(
                "{}{} is a code of lost communication, and on a bench its partners are not there (not in the family "
                "file's list, so likely, not certain)",
                named(f), failing ? " is failing now; it" : "");
        return failing
                   ? fmt::format("{} is failing now, as it must while its partner is not on the bench (family file)",
                                 named(f))
                   : fmt::format("{}: its partner is not on the bench (family file)", named(f));
    }

    // By the family's list, against what is known of the run. An entry whose status is not known may be failing now.
    bool explain(const Fault& f, Attributed& a) const {
        for (const family::FaultNote& n : family_.faults) {
            if (n.code != f.code) continue;
            if (!holds(n) || n.explained_by == "partner not on the bench") continue;
            a.kind = Kind::explained;
            a.why = fmt::format("{} ({}): explained by {} (family file)", named(f), n.words, cause(n));
            if (f.status && !after_.has_bit(f.box, 0x01)) {
                a.next = "whether it is failing now the box does not say, so it is not cleared from here";
            } else if (f.status) {
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
            return n.code == f.code && n.explained_by == "partner not on the bench" && holds(n) &&
                   !software_or_voltage(f.code);
        });
    }
    // A code of lost communication that the family's list does not have.
    bool likely_partner(const Fault& f) const {
        return c_.on_bench && lost_communication(f.code) &&
               std::none_of(family_.faults.begin(), family_.faults.end(),
                            [&](const family::FaultNote& n) { return n.code == f.code; });
    }

    bool holds(const family::FaultNote& n) const {
        if (n.explained_by == "skipped ask")
            return std::find(c_.asks_skipped.begin(), c_.asks_skipped.end(), n.ask) != c_.asks_skipped.end();
        if (n.explained_by == "partner not on the bench") return c_.on_bench;
        if (n.explained_by == "low supply")
            return c_.lowest_V && family_.supply && *c_.lowest_V < family_.supply->lowest_V;
        return false;
    }

    std::string cause(const family::FaultNote& n) const {  // a partner's absence is told before
        if (n.explained_by == "skipped ask") return "an ask that was skipped, or never marked as answered";
        return fmt::format("the supply, which fell to {:.1f} V in the run's record, below {:.1f} V",
                           c_.lowest_V.value_or(0), family_.supply ? family_.supply->lowest_V : 0.0);
    }

    const family::Family& family_;
    const FaultMemory& before_;
    const FaultMemory& after_;
    const Circumstances& c_;
    ByCode there_before_, there_after_;
};

Reason reason_of(const Attributed& a) {
    const std::string where = named(a.fault);
    switch (a.kind) {
        case Kind::there_before: return {"fault-there-before", Verdict::mind, a.why, where, "fault memory"};
        case Kind::explained: return {"fault-explained", Verdict::mind, a.why, where, "family file"};
        case Kind::partner: return {"fault-partner-absent", Verdict::mind, a.why, where, "family file, status byte"};
        case Kind::partner_good: return {"fault-partner-good", Verdict::mind, a.why, where, "status byte"};
        case Kind::active: return {"fault-active", Verdict::halt, a.why, where, "status byte"};
        case Kind::new_unexplained: return {"fault-new", Verdict::cant_say, a.why, where, "fault memory"};
        case Kind::not_comparable: return {"fault-not-comparable", Verdict::cant_say, a.why, where, "not read"};
        case Kind::gone: return {"fault-gone", Verdict::fit, a.why, where, "fault memory"};
        case Kind::not_tested: return {"fault-not-tested", Verdict::fit, a.why, where, "status byte"};
        case Kind::cleared_waits: return {"cleared-not-tested", Verdict::mind, a.why, where, "status byte"};
        case Kind::cleared_good: return {"cleared-and-tested", Verdict::fit, a.why, where, "status byte"};
        case Kind::cleared_unknown: return {"cleared-not-known", Verdict::cant_say, a.why, where, "fault memory"};
        case Kind::back: return {"fault-back", Verdict::halt, a.why, where, "status byte"};
    }
    return {};
}

}  // namespace

std::string_view words(Kind k) {
    switch (k) {
        case Kind::there_before: return "there before";
        case Kind::explained: return "explained";
        case Kind::active: return "failing now";
        case Kind::partner: return "without its partner";
        case Kind::partner_good: return "good in the vehicle";
        case Kind::new_unexplained: return "new, not explained";
        case Kind::not_comparable: return "not comparable";
        case Kind::gone: return "gone";
        case Kind::not_tested: return "not tested";
        case Kind::cleared_waits: return "cleared, not tested again";
        case Kind::cleared_good: return "cleared, tested again, good";
        case Kind::cleared_unknown: return "cleared, not known whether tested again";
        case Kind::back: return "back after clearing";
    }
    return "new, not explained";
}

const Fault* FaultMemory::find(const Fault& like) const {
    return entries ? prove::find(*entries, like) : nullptr;
}
bool FaultMemory::has_bit(const std::string& box, std::uint8_t bits) const {
    const auto known = availability.find(box);
    return known == availability.end() || (known->second & bits) == bits;
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
    const Attribution attribution(family, before, after, circumstances);
    for (const Fault& f : *after.entries) out.entries.push_back(attribution.one(f));
    for (const Cleared& c : circumstances.cleared)
        if (!attribution.now(c.fault)) out.entries.push_back(attribution.since_cleared(c));
    if (before.entries) {
        for (const Fault& f : *before.entries) {
            if (attribution.now(f) || attribution.asked_to_clear(f)) continue;
            if (std::find(after.unread.begin(), after.unread.end(), f.box) != after.unread.end()) continue;
            if (f.status && !has_failed(*f.status)) continue;  // it never was one
            Attributed gone{f, Kind::gone, named(f) + " stood there before and no more", "nothing to do", false};
            out.entries.push_back(std::move(gone));
        }
    }
    int now = 0, active = 0;
    for (const Attributed& a : out.entries) {
        out.judgement.add(reason_of(a));
        now += a.kind != Kind::gone && a.kind != Kind::not_tested && a.kind != Kind::cleared_good &&
               a.kind != Kind::cleared_waits && a.kind != Kind::cleared_unknown;
        active += a.kind != Kind::gone && a.fault.status && failing_now(*a.fault.status);
    }
    for (const std::string& box : after.unread)
        out.judgement.add({"faults-not-read", Verdict::cant_say,
                           fmt::format("the fault memory of the {} was not read after the run; that is not the same as "
                                       "none",
                                       box),
                           box, "not read"});
    const std::string rest = after.unread.empty() ? "" : fmt::format("; not read: {}", join(after.unread, ", "));
    if (now == 0 && after.unread.empty())
        out.judgement.add({"faults-none", Verdict::fit,
                           fmt::format("no fault entries after the run ({})", after.origin), "faults", after.origin});
    if (now == 0) {
        out.sentence = fmt::format("No fault entries after the run ({}){}.", after.origin, rest);
    } else {
        out.sentence = fmt::format("{} {} after the run ({}){}{}.", now, now == 1 ? "fault entry" : "fault entries",
                                   after.origin, active ? fmt::format(", {} failing now", active) : "", rest);
    }
    return out;
}

}  // namespace fettle::prove
