#include "fettle/workshop/ready_job.h"

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/card_of_job.h"
#include "fettle/workshop/installed_now.h"
#include "fettle/workshop/plan_job.h"
#include "fettle/workshop/step_before.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

int number_of(const JobRun& run, const plan::PlanStep& step) {
    const auto& all = run.plan.steps;
    const auto at = std::find_if(all.begin(), all.end(), [&](const plan::PlanStep& s) { return &s == &step; });
    return at == all.end() ? 0 : static_cast<int>(at - all.begin()) + 1;
}

Result<ReadyChecked> checked_now(const Workshop& shop, const ReadyRequest& request) {
    const auto run = load_job_run(shop, request.job, Unidentified::allowed);
    if (!run) return pass(run);
    const auto step = step_or_none(*run, request.step);
    if (!step) return pass(step);
    ReadyChecked out;
    out.job = run->number;
    out.level = run->level();
    out.release = run->release_of(**step);
    out.planned = !(*step)->release.release.empty();
    out.step = number_of(*run, **step);
    auto check = ready_of(shop, *run, **step, shop.clock->now());
    if (!check) return pass(check);
    out.check = std::move(*check);
    out.signed_for = signatures_of(run->job);
    out.may = ready::may_start(out.check.judgement, out.signed_for);
    if (auto kept = append_entries(shop, run->number, {ready_entry(out.check, out.step)}, run->job.last_number); !kept)
        return pass(kept);
    return out;
}

Result<Accepted> accepted_now(const Workshop& shop, const AcceptRequest& request) {
    const auto run = load_job_run(shop, request.job, Unidentified::allowed);
    if (!run) return pass(run);
    const auto step = step_or_none(*run, request.step);
    if (!step) return pass(step);
    const auto check = ready_of(shop, *run, **step, shop.clock->now());
    if (!check) return pass(check);
    const Judgement& judgement = check->judgement;
    Acceptance signature{request.code, request.by, request.reason};
    if (auto ok = ready::may_accept(judgement, signature); !ok) {
        ok.error().next.name_job(run->number);
        return pass(ok);
    }
    signature.verdict = Verdict::mind;
    for (const Reason& r : judgement.reasons) {
        const std::string key = ready::acceptance_key(r);
        if (r.verdict == Verdict::fit || (r.code != request.code && key != request.code)) continue;
        signature.code = key;
        signature.verdict = r.verdict;
    }
    const NewEntry entry{"accepted",
                         {{"code", signature.code},
                          {"by", signature.by},
                          {"reason", signature.reason},
                          {"verdict", code(*signature.verdict)}}};
    if (auto kept = append_entries(shop, run->number, {entry}, run->job.last_number); !kept) return pass(kept);
    return Accepted{run->number, std::move(signature)};
}

}  // namespace

Result<const plan::PlanStep*> step_or_none(const JobRun& run, int wanted) {
    static const plan::PlanStep none = [] {
        plan::PlanStep s;
        s.map.boot_order_known = false;  // nothing was explored, so nothing is said to have a way back
        return s;
    }();
    const bool little_known = run.plan.steps.empty() && wanted == 0 && !run.plan.nothing_to_do &&
                              (run.job.target.empty() || run.plan.judgement.verdict() == Verdict::cant_say);
    if (little_known) return &none;
    return run.step(wanted);
}

std::vector<Acceptance> signatures_of(const book::Job& job) {
    const UnixMs since = job.runs.empty() ? job.opened : job.runs.back().started;
    std::vector<Acceptance> out;
    for (const Acceptance& a : job.accepted) {
        if (a.at >= since) out.push_back(a);
    }
    return out;
}

Result<ready::Check> ready_of(const Workshop& shop, const JobRun& run, const plan::PlanStep& step, UnixMs now) {
    const auto cards = cards_of(shop, run.number);
    if (!cards) return pass(cards);
    ready::Situation s;
    for (const auto& [key, at] : run.job.answers_read) s.read_s_ago[key] = std::max<UnixMs>(0, now - at) / 1000;
    s.on_bench = run.on_bench();
    s.told = run.job.answers;
    s.release = run.release_of(step);
    if (!run.job.target.empty()) s.plan_verdict = run.plan.judgement.verdict();
    for (const Reason& r : run.plan.judgement.reasons) {
        if (s.plan_verdict && r.verdict == *s.plan_verdict && r.verdict != Verdict::fit) {
            s.plan_because = r.text;
            break;
        }
    }
    if (run.family_changed && s.plan_verdict && *s.plan_verdict < Verdict::cant_say) {
        s.plan_verdict = Verdict::cant_say;
        s.plan_because = "the family file is not the one that the job was identified with; identify and plan again";
    }
    if (!run.job.card_release.empty()) s.card_release = run.job.card_release;
    if (step.cards != 0) s.cards = step.cards;
    s.card_audited_good = run.job.card_audited_good;
    for (const auto& [number, card] : run.job.further_cards)
        if (card.release == s.release) s.further_cards[number] = card.audited_good;
    const auto right = run.right_known.find(s.release);
    if (right != run.right_known.end()) s.right_known = right->second;
    s.one_way_door = step.one_way_door;
    s.one_way_consent = consent_of(run.job).covers(s.release);
    s.keepings = run.job.keepings;
    ready::Check out = ready::check(run.family, step.forecast, step.map, s);
    unsigned wanted = std::max(1u, step.cards);
    for (const family::Act& act : run.family.script)
        wanted = std::max(wanted, static_cast<unsigned>(std::max(0, act.card)));
    tell_cards(run.job, *cards, wanted, out);
    // What plan says of the same job: after a run that broke off nobody has seen what stands.
    if (const auto left = installed_now(run))
        for (const Reason& r : left->judgement.reasons) {
            out.items.push_back({"what the last run left", "not seen", r});
            out.judgement.add(r);
        }
    for (const Reason& r : reasons_against(run.job)) {
        out.items.push_back({"the box's own word", "differs (read over the link)", r});
        out.judgement.add(r);
    }
    if (const auto r = offered_before(run.job)) {
        out.items.push_back({"what the box offers", "not as planned (typed)", *r});
        out.judgement.add(*r);
    }
    if (const auto r = step_before(run, step)) {
        out.items.push_back({"the step before", r->verdict == Verdict::mind ? "not proved" : "not as planned", *r});
        out.judgement.add(*r);
    }
    for (ready::Item& i : out.items) i.reason.next.name_job(run.number);
    for (Reason& r : out.judgement.reasons) r.next.name_job(run.number);
    return out;
}

NewEntry ready_entry(const ready::Check& check, int step) {
    return {"ready",
            {{"verdict", code(check.judgement.verdict())},
             {"reasons", reasons_as_json(check.judgement.reasons)},
             {"step", step}}};
}

Result<ReadyChecked> check_ready(const Workshop& shop, const ReadyRequest& request) {
    return until_journal_rests([&] { return checked_now(shop, request); });
}

Result<std::pair<std::string, std::string>> key_and_value(const std::string& text, Next next) {
    const auto equals = text.find('=');
    if (equals == std::string::npos)
        return usage_error("answer-not-key-value", printable(text), "no key and value", std::move(next));
    return std::pair(text.substr(0, equals), text.substr(equals + 1));
}

NewEntry answered_entry(const std::string& key, const std::string& value, const std::string& source) {
    NewEntry out{"answered", {{"key", key}, {"value", value}}};
    if (!source.empty()) out.data["source"] = source;
    return out;
}

Result<Answered> answer(const Workshop& shop, const AnswerRequest& request) {
    const auto run = load_job_and_family(shop, request.job, Unidentified::allowed);  // of none: the general keys
    if (!run) return pass(run);
    if (request.answers.empty())
        return usage_error("answer-missing", "job " + run->number, "nothing was said",
                           "say KEY=VALUE, e.g. knob=answers");
    Answered out{run->number, {}};
    std::vector<NewEntry> entries;
    ready::Told told = run->job.answers;
    for (const std::string& text : request.answers) {
        auto said = key_and_value(text, "say KEY=VALUE");
        if (!said) return pass(said);
        if (auto ok = ready::check_answer(run->family, said->first, said->second); !ok) return pass(ok);
        for (const std::string& key : ready::also_denied_by(told, said->first, said->second)) {
            entries.push_back(answered_entry(key, said->second));
            told[key] = said->second;
        }
        entries.push_back(answered_entry(said->first, said->second));
        told[said->first] = said->second;
        out.kept.push_back(std::move(*said));
    }
    if (auto kept = append_entries(shop, run->number, entries); !kept) return pass(kept);
    return out;
}

Result<Accepted> accept(const Workshop& shop, const AcceptRequest& request) {
    return until_journal_rests([&] { return accepted_now(shop, request); });
}

}  // namespace fettle::workshop
