// Every input that a later state of the script needs, proved now: asks, cards, feeds, a person, a call that is heard.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "fettle/base/clock.h"
#include "fettle/ready/asks.h"
#include "fettle/ready/checker.h"
#include "fettle/ready/told.h"

namespace fettle::ready {

void Checker::asks() {
    if (family_.script.empty()) {
        item("asks", "not known",
             {"asks-not-known", Verdict::cant_say,
              "the step script is not known, and so not what it asks for in mid-run, nor when", "asks", "family file"},
             "ask the maker's instructions; stay at the box until it ends");
        return;
    }
    if (family_.level < "L3" && family_.watched.empty()) {
        item("asks", "no run watched yet",
             {"asks-not-watched", Verdict::mind,
              "no run of this family was watched yet: it may ask for more than its file says", "asks",
              "level " + (family_.level.empty() ? std::string("not said") : family_.level)},
             "stay within sight of the box");
    }
    for (AskItem& a : judge_asks(family_, s_.told)) {
        if (!a.wanted.empty()) want(a.wanted);
        out_.items.push_back(std::move(a.item));
    }
    for (const auto& w : forecast_.states) {
        const family::Act* act = family_.act(w.act);
        const bool wakes = act && s_.on_bench && !act->wake.empty();
        if (!act || (act->kind != family::ActKind::ask && !wakes)) continue;
        out_.hands.push_back({{act->id, w.begins.p10_s, w.begins.p90_s},
                              wakes ? fmt::format("{} (feed: {})", act->words, act->wake) : act->words,
                              act->control});
    }
}

// A run that takes several cards in turn stops where the next one is missing.
// Which they are, the script's asks say, and how many the release takes.
void Checker::cards() {
    std::map<unsigned, const family::Act*> wanted;  // card, and the act that asks for it if one does
    for (const family::Act& act : family_.script)
        if (act.card >= 2 && (!s_.cards || static_cast<unsigned>(act.card) <= *s_.cards))
            wanted.emplace(static_cast<unsigned>(act.card), &act);
    for (unsigned n = 2; n <= s_.cards.value_or(1); ++n) wanted.emplace(n, nullptr);
    for (const auto& [n, act] : wanted) {
        const std::string key = fmt::format("card.{}", n);
        const std::string words = act ? fmt::format("card {}, for: {}", n, act->words)
                                      : fmt::format("card {} of the {} that the release takes", n, *s_.cards);
        const std::string where = act ? act->id : key;
        const std::string because = act ? "it " + act->words : fmt::format("the release takes {} cards", *s_.cards);
        const auto there = yes(s_.told, key, "yes", "no");
        const auto known = s_.further_cards.find(n);
        if (known != s_.further_cards.end() && !known->second && there != false) {
            item(words, "not audited good",
                 {"card-not-audited", Verdict::cant_say, fmt::format("card {} was not found good since it was laid", n),
                  where, "not read"},
                 {"audit it: ", propose(Act::audit_card, {fettle::wanted("file", "CARD"), given("release", s_.release),
                                                          given("card", std::to_string(n))})});
        } else if (known != s_.further_cards.end() && !there) {
            item(words, s_.release + ", audited good",
                 {"next-card-ready", Verdict::fit,
                  fmt::format("card {} was laid for this step and the audit found nothing", n), where, "audit"});
        } else if (!there) {
            want(key);
            item(words, "not said",
                 {"next-card-not-said", Verdict::cant_say,
                  fmt::format("{}; whether card {} is laid and at hand is not said", because, n), where, "not said"},
                 "lay and audit it, then say " + key + "=yes");
        } else if (!*there) {
            item(words, "no (typed)",
                 {"next-card-missing", Verdict::halt, fmt::format("without card {} the run cannot finish", n), where,
                  "typed"},
                 "lay and audit it first");
        } else {
            item(words, "at hand (typed)",
                 {"next-card-ready", Verdict::fit, fmt::format("card {} is at hand", n), where, "typed"});
        }
    }
}

void Checker::wakes() {
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

namespace {

// An ask that goes on by itself does not need anybody; it only leaves a trace.
bool waits_for_ever(const family::Act& act) {
    if (act.kind != family::ActKind::ask) return true;  // a wake moment
    return std::none_of(act.answers.begin(), act.answers.end(),
                        [](const family::Answer& a) { return a.how == "nothing" && a.leads_to == "goes on"; });
}

}  // namespace

// For each hands-on moment: will somebody be there in its window?
void Checker::people() {
    const auto all = yes(s_.told, "person", "yes", "no");
    for (const HandsDue& h : out_.hands) {
        const family::Act* act = family_.act(h.act);
        const std::string window =
            fmt::format("{} to {} after the start", human_duration(h.from_s), human_duration(h.to_s));
        const std::string words = "a person, for: " + h.words;
        auto there = yes(s_.told, "person." + h.act, "yes", "no");
        if (!there) there = all;
        if (!there) {
            want("person." + h.act);
            item(words, window,
                 {"person-not-said", Verdict::cant_say,
                  fmt::format("hands are needed {}; whether anybody will be there is not said", window), h.act,
                  "not said"},
                 fmt::format("say person.{}=yes, or person=yes for all of them", h.act));
        } else if (*there) {
            item(words, window + ", promised (typed)",
                 {"person-promised", Verdict::fit, "somebody will be there " + window, h.act, "typed"});
        } else if (act && waits_for_ever(*act)) {
            item(words, window + ", nobody (typed)",
                 {"person-missing", Verdict::halt,
                  fmt::format("nobody will be there {}: the run cannot finish", window), h.act, "typed"},
                 "start when somebody can be there");
        } else {
            item(words, window + ", nobody (typed)",
                 {"person-missing-goes-on", Verdict::mind,
                  "nobody will be there; it goes on by itself, and a skipped ask may leave a fault entry", h.act,
                  "typed"},
                 "be there if you can");
        }
    }
}

// A call that nobody hears is none. One try tells.
void Checker::call() {
    if (out_.hands.empty()) return;
    const auto said = s_.told.find("call");
    const std::string how = said == s_.told.end() ? "" : said->second;
    if (how == "heard") {
        item("test call", "heard (typed)",
             {"call-heard", Verdict::fit, "the call for hands is heard where the person will be", "call", "typed"});
    } else if (how == "staying") {
        item("test call", "not needed: somebody stays (typed)",
             {"call-not-needed", Verdict::fit, "somebody stays at the box to the end", "call", "typed"});
    } else if (how == "not-heard") {
        item("test call", "not heard (typed)",
             {"call-not-heard", Verdict::mind, "the call for hands was not heard: stay within sight of the box", "call",
              "typed"},
             {"turn it up or set a command of your own, then again: ",
              propose(Act::watch, {flag("test-call"), wanted("hook", "COMMAND")}), "; or stay"});
    } else {
        want("call");
        item("test call", "not tried",
             {"call-not-tried", Verdict::mind, "whether the call for hands is heard was not tried", "call", "not said"},
             {"make one test call: ", propose(Act::watch, {flag("test-call")}),
              "; then say call=heard or call=not-heard; call=staying if nobody walks away"});
    }
}

}  // namespace fettle::ready
