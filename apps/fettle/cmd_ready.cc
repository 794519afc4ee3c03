#include "cmd_ready.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/ready_job.h"
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
