// What was decided before: plan, consent, card, right of use, the owner's things.
#include <fmt/format.h>

#include <algorithm>

#include "fettle/ready/checker.h"
#include "fettle/ready/told.h"

namespace fettle::ready {

void Checker::plan() {
    if (!s_.plan_verdict) {
        item("plan", "none", {"no-plan", Verdict::cant_say, "no plan was made for this job", "plan", "not said"},
             {"make one: ", propose(Act::plan, {wanted("to", "RELEASE")})});
        return;
    }
    const std::string why = s_.plan_because.empty() ? "" : ": " + s_.plan_because;
    switch (*s_.plan_verdict) {
        case Verdict::fit:
            item("plan", "fit", {"plan-fits", Verdict::fit, "the plan's verdict is fit", "plan", "plan"});
            break;
        case Verdict::mind:
            item("plan", "mind", {"plan-minds", Verdict::mind, "the plan goes on, knowing this" + why, "plan", "plan"});
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

void Checker::consent() {
    if (!s_.one_way_door) return;
    if (s_.one_way_consent) {
        item("one-way door", "consent recorded",
             {"one-way-consented", Verdict::mind, s_.release + " has no way back; the owner agreed", "one-way",
              "typed"});
    } else {
        item("one-way door", "no consent",
             {"one-way-no-consent", Verdict::halt,
              s_.release + " has no way back and the owner's consent is not recorded", "one-way", "not said"},
             {"ask the owner, then record it: ",
              propose(Act::consent, {given("what", "one-way"), wanted("by", "NAME")})});
    }
}

void Checker::card() {
    const auto release = [&] { return s_.release.empty() ? wanted("release", "R") : given("release", s_.release); };
    const auto audit = [&] { return propose(Act::audit_card, {wanted("file", "CARD"), release()}); };
    if (!s_.card_release) {
        item("card", "not known",
             {"card-not-known", Verdict::cant_say, "no card was laid or audited for this job", "card", "not said"},
             {"lay one: ", propose(Act::lay_card, {release(), wanted("out", "IMAGE")}),
              ", or audit what there is: ", audit()});
    } else if (*s_.card_release != s_.release) {
        item("card", *s_.card_release,
             {"card-other-release", Verdict::halt,
              fmt::format("the card holds {}, this step installs {}", *s_.card_release, s_.release), "card", "audit"},
             "lay the card for this step");
    } else if (!s_.card_audited_good) {
        item("card", *s_.card_release + ", not audited",
             {"card-not-audited", Verdict::cant_say, "the card was not audited since it was laid", "card", "not read"},
             {"audit it: ", audit()});
    } else {
        item("card", s_.release + ", audited good",
             {"card-good", Verdict::fit, "the card was laid for this step and the audit found nothing", "card",
              "audit"});
    }
}

void Checker::right() {
    if (!s_.right_known) {
        item(
            "right of use", "not known",
            {"right-not-said", Verdict::cant_say, "it is not known by what right the release is used", "right",
             "not said"},
            {"shelve it with the right that it is used by: ",
             propose(Act::add_to_shelf, {wanted("package", "PATH"), wanted("from", "TEXT"), wanted("right", "WORD")})});
    } else if (!*s_.right_known) {
        item("right of use", "unknown",
             {"right-unknown", Verdict::halt, "the provenance slip names no right of use", "right", "provenance slip"},
             "get the release from a source that gives a right of use");
    } else {
        item("right of use", "on the provenance slip",
             {"right-known", Verdict::fit, "the provenance slip names a right of use", "right", "provenance slip"});
    }
}

void Checker::keepings() {
    for (const Keeping& k : s_.keepings) {
        if (k.returned || !k.tag.empty()) continue;
        item("keeping: " + k.words, "no tag",
             {"keeping-not-tagged", Verdict::mind, k.words + " is held without a tag", k.words, "typed"},
             {"tag it, then put its entry right: ",
              propose(Act::note, {wanted("correct", "N"), given("field", "tag"), wanted("value", "TAG"),
                                  wanted("why", "TEXT"), wanted("by", "NAME")}),
              "; N is in ", propose(Act::show_job, {flag("entries")})});
    }
    const auto empty = yes(s_.told, "slots", "empty", "not-empty");
    if (!empty) {
        want("slots");
        item("owner's media", "not said",
             {"slots-not-said", Verdict::cant_say, "whether every other slot of the unit is empty is not said", "slots",
              "not said"},
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

}  // namespace fettle::ready
