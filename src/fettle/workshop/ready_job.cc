#include "fettle/workshop/ready_job.h"

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/workshop/box_against.h"

namespace fettle::workshop {

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

std::vector<ready::Acceptance> signatures_of(const book::Job& job) {
    const UnixMs since = job.runs.empty() ? job.opened : job.runs.back().started;
    std::vector<ready::Acceptance> out;
    for (const book::Acceptance& a : job.accepted) {
        if (a.at >= since) out.push_back({a.code, a.by, a.reason, a.verdict});
    }
    return out;
}

ready::Check ready_of(const JobRun& run, const plan::PlanStep& step, UnixMs now) {
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
    const auto& c = run.job.consents;
    s.one_way_consent = std::find(c.begin(), c.end(), "one-way") != c.end();
    for (const book::Keeping& k : run.job.keepings) s.keepings.push_back({k.words, k.slot, k.tag, k.returned});
    ready::Check out = ready::check(run.family, step.forecast, step.map, s);
    for (const Reason& r : reasons_against(run.job)) {
        out.items.push_back({"the box's own word", "differs (read over the link)", r, ""});
        out.judgement.add(r);
    }
    for (ready::Item& i : out.items) {  // commands that it names, with this job's number
        if (const auto at = i.next.find(" JOB "); at != std::string::npos) i.next.replace(at + 1, 3, run.number);
    }
    return out;
}

NewEntry ready_entry(const ready::Check& check, int step) {
    return {"ready",
            {{"verdict", code(check.judgement.verdict())},
             {"reasons", reasons_as_json(check.judgement.reasons)},
             {"step", step}}};
}

}  // namespace fettle::workshop
