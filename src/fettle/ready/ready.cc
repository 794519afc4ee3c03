#include "fettle/ready/ready.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/ready/asks.h"
#include "fettle/ready/cautions.h"
#include "fettle/ready/told.h"

namespace fettle::ready {
namespace {

class Checker {
public:
    Checker(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map,
            const Situation& s)
        : family_(family), forecast_(forecast), map_(map), s_(s) {}

    Check run() {
        plan();
        consent();
        card();
        right();
        keepings();
        supply();
        if (!s_.on_bench) {
            engine();
            vehicle_timer();
        }
        asks();
        wakes();
        holds();
        duration();
        zones();
        for (const Item& item : out_.items) out_.judgement.add(item.reason);
        Circumstances c;
        c.on_bench = s_.on_bench;
        c.engine_running = yes(s_.told, "engine", "running", "off").value_or(false);
        c.battery_charging = yes(s_.told, "support", "yes", "no").value_or(false);
        out_.cautions = cautions_for(c);
        return std::move(out_);
    }

private:
    void item(std::string words, std::string value, Reason r, std::string next = {}) {
        out_.items.push_back({std::move(words), std::move(value), std::move(r), std::move(next)});
    }
    void want(std::string key) { out_.wanted.push_back(std::move(key)); }

    void plan() {
        if (!s_.plan_verdict) {
            item("plan", "none", {"no-plan", Verdict::cant_say, "no plan was made for this job", "plan", "not said"},
                 "run plan with --job");
            return;
        }
        const std::string why = s_.plan_because.empty() ? "" : ": " + s_.plan_because;
        switch (*s_.plan_verdict) {
            case Verdict::fit:
                item("plan", "fit", {"plan-fits", Verdict::fit, "the plan's verdict is fit", "plan", "plan"});
                break;
            case Verdict::mind:
                item("plan", "mind",
                     {"plan-minds", Verdict::mind, "the plan goes on, knowing this" + why, "plan", "plan"});
                break;
            case Verdict::cant_say:
                item("plan", "can't say",
                     {"plan-cant-say", Verdict::cant_say, "the plan leaves something open" + why, "plan", "plan"},
                     "settle what the plan asks, then plan again");
                break;
            case Verdict::halt:
                item("plan", "halt", {"plan-halts", Verdict::halt, "the plan says halt" + why, "plan", "plan"},
                     "cure what the plan names, then plan again");
                break;
        }
    }

    void consent() {
        if (!s_.one_way_door) return;
        if (s_.one_way_consent) {
            item("one-way door", "consent recorded",
                 {"one-way-consented", Verdict::mind, s_.release + " has no way back; the owner agreed", "one-way",
                  "typed"});
        } else {
            item("one-way door", "no consent",
                 {"one-way-no-consent", Verdict::halt,
                  s_.release + " has no way back and the owner's consent is not recorded", "one-way", "not said"},
                 "ask the owner, then record it: fettle job consent J one-way --by NAME");
        }
    }

    void card() {
        if (!s_.card_release) {
            item("card", "not known",
                 {"card-not-known", Verdict::cant_say, "no card was laid or audited for this job", "card", "not said"},
                 "fettle card lay R --out IMAGE --job J, or fettle card audit CARD --release R --job J");
        } else if (*s_.card_release != s_.release) {
            item("card", *s_.card_release,
                 {"card-other-release", Verdict::halt,
                  fmt::format("the card holds {}, this step installs {}", *s_.card_release, s_.release), "card",
                  "audit"},
                 "lay the card for this step");
        } else if (!s_.card_audited_good) {
            item("card", *s_.card_release + ", not audited",
                 {"card-not-audited", Verdict::cant_say, "the card was not audited since it was laid", "card",
                  "not read"},
                 "fettle card audit CARD --release R --job J");
        } else {
            item("card", s_.release + ", audited good",
                 {"card-good", Verdict::fit, "the card was laid for this step and the audit found nothing", "card",
                  "audit"});
        }
    }

    void right() {
        if (!s_.right_known) {
            item("right of use", "not known",
                 {"right-not-said", Verdict::cant_say, "it is not known by what right the release is used", "right",
                  "not said"},
                 "shelve the release with --right");
        } else if (!*s_.right_known) {
            item("right of use", "unknown",
                 {"right-unknown", Verdict::halt, "the provenance slip names no right of use", "right",
                  "provenance slip"},
                 "get the release from a source that gives a right of use");
        } else {
            item("right of use", "on the provenance slip",
                 {"right-known", Verdict::fit, "the provenance slip names a right of use", "right", "provenance slip"});
        }
    }

    void keepings() {
        for (const Keeping& k : s_.keepings) {
            if (k.returned || !k.tag.empty()) continue;
            item("keeping: " + k.words, "no tag",
                 {"keeping-not-tagged", Verdict::mind, k.words + " is held without a tag", k.words, "typed"},
                 "tag it, then put its entry right: fettle job note J --correct N --field tag --value TAG --why TEXT "
                 "--by NAME; N is in fettle job show J --entries");
        }
        const auto empty = yes(s_.told, "slots", "empty", "not-empty");
        if (!empty) {
            want("slots");
            item("owner's media", "not said",
                 {"slots-not-said", Verdict::cant_say, "whether every other slot of the unit is empty is not said",
                  "slots", "not said"},
                 "look, then say slots=empty");
        } else if (!*empty) {
            item("owner's media", "still in a slot",
                 {"slots-not-empty", Verdict::halt, "a medium of the owner is still in a slot", "slots", "typed"},
                 "take it out, tag it, record it as a keeping");
        } else {
            item("owner's media", "slots empty (typed)",
                 {"slots-empty", Verdict::fit, "no other medium is in the unit", "slots", "typed"});
        }
    }

    void supply() {
        const SupplyFigures figures = supply_figures(s_.told, s_.on_bench);
        const SupplyAnswer a = judge_supply(family_, need_of(family_, forecast_, figures), figures);
        const std::string value = a.value.empty() ? "not all figures are said" : a.value;
        const std::string next = a.remedies.empty() ? (a.wanted.empty() ? std::string() : "say " + join(a.wanted, ", "))
                                                    : join(a.remedies, "; ");
        for (const Reason& r : a.judgement.reasons) {
            item("supply", value, r, r.verdict == Verdict::fit ? std::string() : next);
        }
        out_.remedies = a.remedies;
        for (const std::string& w : a.wanted) want(w);
        if (s_.on_bench) fuse();
    }

    void fuse() {
        const auto fused = yes(s_.told, "supply.fused", "yes", "no");
        if (fused.value_or(false)) {
            item("fuse", "yes (typed)",
                 {"supply-fused", Verdict::fit, "the bench supply is fused near its terminal", "supply", "typed"});
        } else if (fused) {
            item("fuse", "no (typed)",
                 {"supply-not-fused", Verdict::halt, "the bench supply has no fuse near its terminal", "supply",
                  "typed"},
                 "put a fuse in the lead, by the maker's and the local rules");
        } else {
            want("supply.fused");
            item("fuse", "not said",
                 {"supply-fuse-not-said", Verdict::mind, "whether the bench supply is fused is not said", "supply",
                  "not said"},
                 "look, then say supply.fused=yes");
        }
    }

    void engine() {
        const auto running = yes(s_.told, "engine", "running", "off");
        if (!running) {
            want("engine");
            item("engine", "not said",
                 {"engine-not-said", Verdict::cant_say, "whether the engine runs is not said", "engine", "not said"},
                 "say engine=off");
            return;
        }
        if (!*running) {
            item("engine", "off (typed)", {"engine-off", Verdict::fit, "the engine is off", "engine", "typed"});
            return;
        }
        exhaust();
        const auto off = yes(s_.told, "stop-start", "off", "on");
        if (!off) {
            want("stop-start");
            item(
                "stop-start", "not said",
                {"stop-start-not-said", Verdict::cant_say,
                 "the engine runs, and whether stop-start is off is not said; a start in mid-run makes the voltage dip",
                 "stop-start", "not said"},
                "switch stop-start off, then say stop-start=off");
        } else if (!*off) {
            item("stop-start", "on (typed)",
                 {"stop-start-on", Verdict::halt,
                  "stop-start is on: it would stop and crank the engine in mid-run, and the voltage dips", "stop-start",
                  "typed"},
                 "switch stop-start off");
        }
    }

    void exhaust() {
        const auto open = yes(s_.told, "bay-door", "open", "closed");
        const bool led_out = yes(s_.told, "extraction", "yes", "no").value_or(false);
        if (led_out) {
            item("exhaust", "led outside (typed)",
                 {"engine-running", Verdict::mind, "the engine runs; the exhaust is led outside", "engine", "typed"},
                 "a support supply with the engine off is the quieter way");
        } else if (!open) {
            want("bay-door");
            item("exhaust", "bay door not said",
                 {"bay-door-not-said", Verdict::cant_say,
                  "the engine runs, and whether the bay door is open is not said", "engine", "not said"},
                 caution("exhaust").text);
        } else if (!*open) {
            item("exhaust", "bay door closed (typed)",
                 {"exhaust-first", Verdict::halt, "the engine runs with the bay door closed: exhaust first", "engine",
                  "typed"},
                 caution("exhaust").text);
        } else {
            item("exhaust", "bay door open (typed)",
                 {"engine-running", Verdict::mind, "the engine runs; an open door alone may not carry the gas away",
                  "engine", "typed"},
                 caution("exhaust").text);
        }
    }

    void vehicle_timer() {
        const auto after = family_.supply ? family_.supply->vehicle_off_after_s : std::nullopt;
        if (!after) {
            item("vehicle timer", "not known",
                 {"vehicle-timer-not-known", Verdict::cant_say,
                  "whether the vehicle ends ignition by itself is not known for this family", "timer", "family file"},
                 "look it up in the maker's instructions");
            return;
        }
        const std::string value = fmt::format("ends ignition after {}; the run takes up to {}", human_duration(*after),
                                              human_duration(forecast_.total.p90_s));
        if (yes(s_.told, "timer-held", "yes", "no").value_or(false)) {
            item("vehicle timer", "held (typed)",
                 {"vehicle-timer-held", Verdict::fit, "the vehicle's timer is held off by the maker's way", "timer",
                  "typed"});
            return;
        }
        const auto& d = forecast_.draws_s;
        const double odds = d.empty() ? (forecast_.total.p90_s <= *after ? 0.95 : 0.0)
                                      : static_cast<double>(std::upper_bound(d.begin(), d.end(), *after) - d.begin()) /
                                            static_cast<double>(d.size());
        const Verdict v = odds >= 0.99 ? Verdict::fit : odds >= 0.95 ? Verdict::mind : Verdict::halt;
        item("vehicle timer", value,
             {v == Verdict::fit    ? "vehicle-timer-long-enough"
              : v == Verdict::mind ? "vehicle-timer-close"
                                   : "vehicle-timer-too-short",
              v,
              v == Verdict::halt   ? "the vehicle may end ignition before the run is done"
              : v == Verdict::mind ? "the vehicle's timer ends close after the run"
                                   : "the vehicle's timer outlasts the run",
              "timer", forecast_.rests_on},
             v == Verdict::fit ? "" : "hold the timer off by the maker's way, then say timer-held=yes");
    }

    void asks() {
        for (AskItem& a : judge_asks(family_, s_.told)) {
            if (!a.wanted.empty()) want(a.wanted);
            out_.items.push_back(std::move(a.item));
        }
        for (const auto& w : forecast_.states) {
            const family::Act* act = family_.act(w.act);
            if (!act || act->kind != family::ActKind::ask) continue;
            out_.hands.push_back({act->id, act->words, act->control, w.begins.p10_s, w.begins.p90_s});
        }
    }

    void wakes() {
        if (!s_.on_bench) return;
        for (const family::Act& act : family_.script) {
            if (act.wake.empty()) continue;
            const auto fed = yes(s_.told, "wake." + act.id, "yes", "no");
            const std::string words = fmt::format("wake moment: {} (feed: {})", act.words, act.wake);
            if (!fed) {
                want("wake." + act.id);
                item(words, "not said",
                     {"wake-feed-not-said", Verdict::cant_say,
                      fmt::format("on the bench, {} must be fed when it {}; whether it can be is not said", act.wake,
                                  act.words),
                      act.id, "not said"},
                     "have the feed at hand, then say wake." + act.id + "=yes");
            } else if (!*fed) {
                item(words, "no (typed)",
                     {"wake-feed-missing", Verdict::halt,
                      fmt::format("without {} it would stay asleep: the run cannot finish", act.wake), act.id, "typed"},
                     "bring the feed to the bench first");
            } else {
                item(words, "at hand (typed)",
                     {"wake-feed-ready", Verdict::fit, act.wake + " can be fed when it is due", act.id, "typed"});
            }
        }
    }

    void holds() {
        const auto all = yes(s_.told, "holds", "yes", "no");
        for (const family::Hold& h : family_.holds) {
            if (s_.on_bench ? !h.on_bench : !h.in_vehicle) continue;
            auto kept = yes(s_.told, "hold." + h.id, "yes", "no");
            if (!kept) kept = all;
            if (!kept) {
                want("hold." + h.id);
                item("hold: " + h.words, "not confirmed",
                     {"hold-not-confirmed", Verdict::cant_say, "not confirmed: " + h.words, h.id, "not said"},
                     "see to it, then say hold." + h.id + "=yes");
            } else if (!*kept) {
                item("hold: " + h.words, "no (typed)",
                     {"hold-not-kept", Verdict::halt, "not so: " + h.words, h.id, "typed"}, "see to it first");
            } else {
                item("hold: " + h.words, "confirmed (typed)",
                     {"hold-confirmed", Verdict::fit, "confirmed: " + h.words, h.id, "typed"});
            }
        }
    }

    void duration() {
        const std::string value = fmt::format("{} (half), {} (nine in ten)", human_duration(forecast_.total.p50_s),
                                              human_duration(forecast_.total.p90_s));
        if (forecast_.states.empty()) {
            item("time", "not known",
                 {"time-not-known", Verdict::cant_say, "no forecast: the step script is not known", "time",
                  "family file"});
        } else {
            item("time", value,
                 {"time-told", Verdict::fit, forecast_.claim.empty() ? "the run takes about " + value : forecast_.claim,
                  "time", forecast_.rests_on});
        }
    }

    void zones() {
        if (!map_.boot_order_known) {
            item("power cuts", "boot order not known",
                 {"boot-order-not-known", Verdict::cant_say,
                  "the boot order is not known: act as if every write had no way back", "power", "family file"},
                 "keep power whatever happens");
            return;
        }
        int n = 0;
        double first_s = 0;
        for (const cutmap::Stretch& z : map_.stretches) {
            if (z.outcomes.empty() || !cutmap::no_way_back(cutmap::worst(z.outcomes))) continue;
            if (n++ == 0) first_s = z.from_p50_s;
        }
        if (n == 0) {
            item("power cuts", "no stretch without a way back",
                 {"always-a-way-back", Verdict::fit, "at no moment would a power cut leave it without a way back",
                  "power", "family file"});
            return;
        }
        item("power cuts",
             fmt::format("{} without a way back, {} in all, the first about {} after the start",
                         n == 1 ? "one stretch" : fmt::format("{} stretches", n),
                         human_duration(map_.no_way_back_p90_s), human_duration(first_s)),
             {"no-way-back-ahead", Verdict::mind,
              fmt::format("a power cut in {} would need bench repair or lose the unit",
                          n == 1 ? "one stretch" : fmt::format("any of {} stretches", n)),
              "power", "family file"},
             caution("keep-power").text);
    }

    const family::Family& family_;
    const forecast::Forecast& forecast_;
    const cutmap::CutMap& map_;
    const Situation& s_;
    Check out_;
};

}  // namespace

Check check(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map,
            const Situation& situation) {
    return Checker(family, forecast, map, situation).run();
}

}  // namespace fettle::ready
