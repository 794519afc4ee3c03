#include "fettle/workshop/job_run.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/plan/json_parts.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/plan_job.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {

using plan::PlanStep;

namespace {

// What was put right of a run's times changes nothing in what was found.
bool found_corrected(const book::Job& job) {
    return std::any_of(job.corrections.begin(), job.corrections.end(), [](const book::Correction& c) {
        return c.of_type != "times" && c.of_type != "ended" && c.of_type != "note";
    });
}

// The set as the plan had it; for journals that keep none, and after a correction, from the job's plates and views.
Result<change::SetState> found_set(const Workshop& shop, const JobRun& run) {
    if (!run.job.planned_set.empty() && !found_corrected(run.job)) {
        const auto kept = parse_json(run.job.planned_set, "the planned set");
        if (kept && kept->is_object()) return plan::set_from_json(kept->get_object());
    }
    IdentifyRequest who;
    for (const auto& [role, plate] : run.job.plates) who.plates.push_back(plate);
    // Identified since, and before any run: what was found is what it shows now.
    const bool found_since = run.job.runs.empty() && !(run.job.release_found.empty() && run.job.releases_found.empty());
    const std::string release =
        run.job.planned_from.empty() || found_since ? run.job.release_found : run.job.planned_from;
    who.views = views_of(run.job, release);
    who.family = run.job.family;
    auto unit = identified(shop, who);
    if (!unit) return pass(unit);
    return plan::set_of(run.family, unit->identity);
}

// The list that the plan was made with, where it was no inferred one.
std::optional<change::InstalledList> kept_list(const book::Job& job) {
    if (job.as_found_origin <= Origin::inferred || job.as_found.empty()) return std::nullopt;
    change::InstalledList out;
    out.origin = job.as_found_origin;
    out.pieces = job.as_found;
    return out;
}

}  // namespace

int JobRun::next_step() const {
    for (std::size_t i = 0; i < plan.steps.size(); ++i) {
        const std::string& release = plan.steps[i].release.release;
        const bool done = std::any_of(job.runs.begin(), job.runs.end(), [&](const book::Run& r) {
            return r.outcome == RunState::ended && !r.early && r.release == release;
        });
        if (!done) return static_cast<int>(i) + 1;
    }
    return 0;
}

Result<const PlanStep*> JobRun::step(int wanted) const {
    if (plan.steps.empty())
        return bad_input("job-has-no-step", "job " + number, "its plan has no step to run",
                         Next{"see why: ", propose(Act::plan, {fettle::job(number)})});
    const int n = wanted > 0 ? wanted : next_step();
    if (n == 0)
        return bad_input("all-steps-done", "job " + number, "every planned step has been run to its end",
                         Next{"go on with as-left and prove, or name the step to run again with ", with(flag("step"))});
    if (n > static_cast<int>(plan.steps.size()))
        return bad_input(
            "step-not-planned", fmt::format("step {}", n),
            fmt::format("the plan has {} {}", plan.steps.size(), plan.steps.size() == 1 ? "step" : "steps"),
            "name one of them");
    return &plan.steps[static_cast<std::size_t>(n) - 1];
}

std::string JobRun::release_of(const PlanStep& step) const {
    return step.release.release.empty() ? job.card_release : step.release.release;
}

std::string JobRun::level() const {
    return family.level.empty() ? "L0" : family.level;
}

const PlanStep* JobRun::step_of(const book::Run& r) const {
    for (const PlanStep& s : plan.steps) {
        if (s.release.release == r.release) return &s;
    }
    return nullptr;
}

Result<JobRun> with_family(const Workshop& shop, book::Job job, Unidentified unidentified) {
    JobRun out;
    out.job = std::move(job);
    out.number = out.job.number;
    if (out.job.family.empty() && unidentified == Unidentified::allowed) {
        out.family.words = "boxes of no known family";
        out.family.level = "L0";
        return out;
    }
    if (out.job.family.empty())
        return bad_input("job-has-no-family", "job " + out.number, "its boxes were not identified",
                         Next{"run: ", propose(Act::identify, {wanted("label", "PLATE…"), wanted("view", "TEXT"),
                                                               fettle::job(out.number)})});
    auto family = load_family_by_id(shop, out.job.family);
    if (!family) return pass(family);
    out.family = std::move(*family);
    if (auto fed = feed(out.family, feeding_of(out.job.planned_fed)); !fed) return pass(fed);
    out.family_changed = !out.job.family_digest.empty() && out.job.family_digest != out.family.digest;
    return out;
}

Status add_plan(const Workshop& shop, JobRun& run) {
    if (run.family.id.empty()) return {};
    auto shelf = shelf_view(shop, run.family.id);
    if (!shelf) return pass(shelf);
    run.right_known = shelf->right_known;
    if (run.job.target.empty()) return {};
    auto set = found_set(shop, run);
    if (!set) return pass(set);
    plan::PlanRequest request;
    request.family = &run.family;
    request.set = std::move(*set);
    request.as_found = kept_list(run.job);
    request.to = run.job.target;
    request.complaint = run.job.complaint;
    request.consent = consent_of(run.job);
    request.cuts = run.job.planned_cuts;
    run.plan = put_together(shop, std::move(request), *shelf);
    return {};
}

Result<JobRun> load_job_and_family(const Workshop& shop, const std::string& number, Unidentified unidentified) {
    auto job = load_job(shop, number);
    if (!job) return pass(job);
    return with_family(shop, std::move(*job), unidentified);
}

Result<JobRun> load_last_run(const Workshop& shop, const std::string& number) {
    auto out = load_job_and_family(shop, number, Unidentified::allowed);
    if (!out || (!out->job.runs.empty() && !out->job.runs.back().expected.empty())) return out;
    if (auto planned = add_plan(shop, *out); !planned) return pass(planned);
    return out;
}

Result<JobRun> load_job_run(const Workshop& shop, const std::string& number, Unidentified unidentified) {
    auto out = load_job_and_family(shop, number, unidentified);
    if (!out) return out;
    if (auto planned = add_plan(shop, *out); !planned) return pass(planned);
    return out;
}

}  // namespace fettle::workshop
