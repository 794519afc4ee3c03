#include "cmd_ready.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

std::string check_as_text(const std::string& job, const ready::Check& check,
                          const std::vector<ready::Acceptance>& signed_for) {
    std::string out, said;
    const auto is_caution = [&](const std::string& next) {
        return std::find(check.cautions.begin(), check.cautions.end(), next) != check.cautions.end();
    };
    for (const ready::Item& i : check.items) {
        out += fmt::format("  {:<9}  {}: {}\n", words(i.reason.verdict), i.words, i.value);
        if (i.reason.verdict == Verdict::fit) continue;
        out += fmt::format("             {} ({})\n", i.reason.text, i.reason.code);
        const std::string key = ready::acceptance_key(i.reason);
        for (const ready::Acceptance& a : signed_for) {
            if (a.code == key || a.code == i.reason.code)
                out += fmt::format("             signed for by {}: {}\n", printable(a.by), printable(a.reason));
        }
        if (!i.next.empty() && i.next != said && !is_caution(i.next))
            out += fmt::format("             next: {}\n", i.next);
        said = i.next;
        if (i.reason.verdict == Verdict::cant_say) out += fmt::format("             or sign for: {}\n", key);
    }
    for (const ready::HandsWindow& h : check.hands) {
        out += fmt::format("  hands: it {} between {} and {} after the start{}\n", h.words, human_duration(h.from_s),
                           human_duration(h.to_s), h.control.empty() ? "" : " (" + h.control + ")");
    }
    if (check.judgement.verdict() != Verdict::fit) {
        out += fmt::format("Answer with:    fettle ready answer {} KEY=VALUE …\n", job);
        out += fmt::format("Sign for with:  fettle ready accept {} CODE --by NAME --reason TEXT\n", job);
    }
    if (!check.cautions.empty()) out += "Cautions\n";
    for (const std::string& c : check.cautions) out += "  " + c + "\n";
    return out;
}

boost::json::object check_as_json(const ready::Check& check, const ready::MayStart& may, int step) {
    boost::json::array items, hands, standing;
    for (const ready::Item& i : check.items)
        items.push_back({{"words", i.words},
                         {"value", i.value},
                         {"verdict", code(i.reason.verdict)},
                         {"code", i.reason.code},
                         {"accept_as", ready::acceptance_key(i.reason)},
                         {"next", i.next}});
    for (const ready::HandsWindow& h : check.hands)
        hands.push_back({{"act", h.act}, {"control", h.control}, {"from_s", h.from_s}, {"to_s", h.to_s}});
    for (const Reason& r : may.standing) standing.push_back(boost::json::string(ready::acceptance_key(r)));
    boost::json::object out;
    out["step"] = step;
    out["may_start"] = may.yes;
    out["standing"] = standing;
    out["items"] = items;
    out["hands"] = hands;
    boost::json::array wanted, cautions, remedies;
    for (const auto& w : check.wanted) wanted.push_back(boost::json::string(w));
    for (const auto& c : check.cautions) cautions.push_back(boost::json::string(c));
    for (const auto& r : check.remedies) remedies.push_back(boost::json::string(r));
    out["wanted"] = wanted;
    out["cautions"] = cautions;
    out["remedies"] = remedies;
    return out;
}

std::string headline(const ready::Check& check, const ready::MayStart& may, const PlanStep& step,
                     const std::string& release) {
    const std::string what = !step.release.release.empty() ? "the step to " + release
                             : release.empty()             ? "a run"
                                                           : "a run to " + release + ", which no plan looked at,";
    if (may.yes) {
        const bool bare = check.judgement.verdict() == Verdict::fit;
        return fmt::format("Ready: {} may start{}.", what, bare ? "" : ", knowing what is said below");
    }
    const auto halts = std::count_if(may.standing.begin(), may.standing.end(),
                                     [](const Reason& r) { return r.verdict == Verdict::halt; });
    if (halts > 0)
        return fmt::format("Halt: {} must not start: {}.", what,
                           std::find_if(may.standing.begin(), may.standing.end(), [](const Reason& r) {
                               return r.verdict == Verdict::halt;
                           })->text);
    return fmt::format("Not ready: {} {} open before {} may start.", may.standing.size(),
                       may.standing.size() == 1 ? "point is" : "points are", what);
}

int number_of(const JobRun& run, const PlanStep& step) {
    const auto at =
        std::find_if(run.plan.steps.begin(), run.plan.steps.end(), [&](const PlanStep& s) { return &s == &step; });
    return at == run.plan.steps.end() ? 0 : static_cast<int>(at - run.plan.steps.begin()) + 1;
}

}  // namespace

Result<const PlanStep*> step_or_none(const JobRun& run, int wanted) {
    static const PlanStep none = [] {
        PlanStep s;
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

ready::Check ready_of(const JobRun& run, const PlanStep& step, UnixMs now) {
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

Result<Answer> ready_check(Context& context, const ReadyOptions& options) {
    auto run = load_job_run(context, options.job, Unidentified::allowed);
    if (!run) return pass(run);
    auto step = step_or_none(*run, options.step);
    if (!step) return pass(step);
    const int number = number_of(*run, **step);
    const ready::Check check = ready_of(*run, **step, context.clock->now());
    const auto signed_for = signatures_of(run->job);
    const ready::MayStart may = ready::may_start(check.judgement, signed_for);
    Answer a;
    a.job = run->number;
    a.headline = headline(check, may, **step, run->release_of(**step));
    a.level = run->level();
    a.text = check_as_text(run->number, check, signed_for);
    for (const Reason& r : check.judgement.reasons) {
        if (r.verdict != Verdict::fit) a.judgement.add(r);
    }
    a.reasons_in_text = true;
    a.data = check_as_json(check, may, number);
    a.entries.push_back(ready_entry(check, number));
    return a;
}

Result<Answer> ready_answer(Context& context, const ReadyAnswerOptions& options) {
    auto job = load_job(context, options.job);
    if (!job) return pass(job);
    auto family = job->family.empty() ? Result<family::Family>(family::Family())  // no known one: the general keys
                                      : load_family_by_id(context, job->family);
    if (!family) return pass(family);
    if (options.answers.empty())
        return usage_error("answer-missing", "ready answer", "nothing was said", "say KEY=VALUE, e.g. knob=answers");
    Answer a;
    a.job = job->number;
    a.verdict_matters = false;
    boost::json::object kept;
    for (const std::string& text : options.answers) {
        const auto eq = text.find('=');
        if (eq == std::string::npos)
            return usage_error("answer-not-key-value", printable(text), "no key and value", "say KEY=VALUE");
        const std::string key = text.substr(0, eq), value = text.substr(eq + 1);
        if (auto ok = ready::check_answer(*family, key, value); !ok) return pass(ok);
        a.entries.push_back({"answered", {{"key", key}, {"value", value}}});
        a.text += fmt::format("  {} = {}\n", key, value);
        kept[key] = value;
    }
    a.headline = fmt::format("Kept {} {}.", options.answers.size(), options.answers.size() == 1 ? "answer" : "answers");
    a.data["answers"] = kept;
    return a;
}

Result<Answer> ready_accept(Context& context, const ReadyAcceptOptions& options) {
    auto run = load_job_run(context, options.job, Unidentified::allowed);
    if (!run) return pass(run);
    auto step = step_or_none(*run, options.step);
    if (!step) return pass(step);
    const ready::Check check = ready_of(*run, **step, context.clock->now());
    const ready::Acceptance signature{options.code, options.by, options.reason};
    if (auto ok = ready::may_accept(check.judgement, signature); !ok) return pass(ok);
    std::string key = options.code;
    Verdict signed_verdict = Verdict::mind;
    for (const Reason& r : check.judgement.reasons) {
        if (r.verdict == Verdict::fit || (r.code != options.code && ready::acceptance_key(r) != options.code)) continue;
        key = ready::acceptance_key(r);
        signed_verdict = r.verdict;
    }
    Answer a;
    a.job = run->number;
    a.verdict_matters = false;
    a.headline = fmt::format("{} signed for \"{}\": {}", printable(options.by), key, printable(options.reason));
    a.data = {{"code", key}, {"by", options.by}, {"reason", options.reason}};
    a.entries.push_back(
        {"accepted",
         {{"code", key}, {"by", options.by}, {"reason", options.reason}, {"verdict", code(signed_verdict)}}});
    return a;
}

}  // namespace fettle::app
