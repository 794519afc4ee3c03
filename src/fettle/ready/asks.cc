#include "fettle/ready/asks.h"

#include <fmt/format.h>

#include <optional>

#include "fettle/base/clock.h"
#include "fettle/ready/told.h"

namespace fettle::ready {
namespace {

// The control an answer needs; empty: nobody has to do anything.
std::string control_of(const family::Act& ask, const family::Answer& answer) {
    if (answer.how == "nothing") return "";
    if (answer.how == "key") return "key";
    if (answer.how == "turn") return "knob";
    if (answer.how == "card") return "card";
    return ask.control;  // a press is on whatever it asks for
}

std::string control_words(const family::Act& ask, const std::string& control) {
    if (control == "touch" && !ask.area.empty()) return "touch at the " + ask.area;
    return control;
}

// One way to answer, judged.
AskItem judge_way(const family::Act& ask, const std::string& control, double after_s, const Told& told) {
    const bool first = control == ask.control;
    const std::string what = control_words(ask, control);
    if (control.empty()) {
        return {{"",
                 "goes on by itself",
                 {"ask-goes-on-by-itself", Verdict::mind,
                  fmt::format("unanswered it goes on after {}; an ask that was skipped may leave a fault entry",
                              human_duration(after_s)),
                  ask.id, "family file", "answer it if anything can"}},
                ""};
    }
    const std::string key = control == "touch" && !ask.area.empty() ? "touch." + key_part(ask.area) : control;
    const std::string state = tested(told, ask, control);
    if (state == "answers") {
        return {{"",
                 what + " answers (typed)",
                 {first ? "ask-control-answers" : "ask-other-way-answers", first ? Verdict::fit : Verdict::mind,
                  first ? fmt::format("it {}: the {} answers", ask.words, what)
                        : fmt::format("it {}: the {} is the other way in, and it answers", ask.words, what),
                  ask.id, "typed"}},
                ""};
    }
    if (state == "dead") {
        return {{"",
                 what + " is dead (typed)",
                 {"ask-control-dead", Verdict::halt,
                  fmt::format("it {}, and the {} is dead: the run cannot finish", ask.words, what), ask.id, "typed",
                  fmt::format("repair the {} first", what)}},
                ""};
    }
    const Next now = control == "touch"
                         ? Next{"touch it now: ", propose(Act::test_touch)}
                         : Next(fmt::format("try the {} now, then say {}=answers or {}=dead", what, key, key));
    return {
        {"",
         what + " not tested",
         {"ask-not-tested", Verdict::cant_say,
          fmt::format("it {}, and whether the {} answers was not tested", ask.words, what), ask.id, "not tested", now}},
        key};
}

AskItem judge_ask(const family::Act& ask, const Told& told) {
    if (ask.control.empty()) {
        return {{"",
                 "control not known",
                 {"ask-control-not-known", Verdict::cant_say,
                  fmt::format("it {}, and with what it is answered is not known", ask.words), ask.id, "family file",
                  "look it up in the maker's instructions before the start"}},
                ""};
    }
    std::optional<AskItem> best;
    const auto offer = [&](AskItem way) {
        if (!best || way.item.reason.verdict < best->item.reason.verdict) best = std::move(way);
    };
    const AskItem first = judge_way(ask, ask.control, 0, told);
    offer(first);
    for (const family::Answer& a : ask.answers) {
        if (a.leads_to == "goes on") offer(judge_way(ask, control_of(ask, a), a.after_s, told));
    }
    if (best->item.reason.code == first.item.reason.code) return std::move(*best);
    // Another way in is the second best: what is wrong with the first is said, and an untried first one is still to
    // try.
    best->item.value += "; " + first.item.value;
    if (best->wanted.empty()) best->wanted = first.wanted;
    if (!first.wanted.empty() && best->item.reason.verdict == Verdict::mind)
        best->item.reason.next = first.item.reason.next;
    return std::move(*best);
}

}  // namespace

std::vector<AskItem> judge_asks(const family::Family& family, const Told& told) {
    std::vector<AskItem> out;
    for (const family::Act& act : family.script) {
        if (act.kind != family::ActKind::ask || act.control == "card") continue;  // cards have a line of their own
        AskItem a = judge_ask(act, told);
        a.item.words = fmt::format("ask: {}{}", act.words, act.shows.empty() ? "" : " (\"" + act.shows + "\")");
        out.push_back(std::move(a));
    }
    return out;
}

}  // namespace fettle::ready
