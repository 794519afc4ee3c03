#include "job_run.h"

#include <fmt/core.h>

#include <algorithm>

#include "cmd_identity.h"
#include "fettle/shelf/shelf.h"
#include "job_store.h"
#include "run_times.h"

namespace fettle::app {
namespace {

struct ShelfFacts {
    std::vector<family::Release> releases;
    std::map<std::string, bool> right_known;
};

Result<ShelfFacts> shelf_facts(const Context& context, const std::string& family) {
    ShelfFacts out;
    std::error_code ignored;
    if (!std::filesystem::exists(context.shelf_folder(), ignored)) return out;
    auto shelf = shelf::Shelf::open(context.shelf_folder());
    if (!shelf) return pass(shelf);
    auto all = shelf->list(family);
    if (!all) return pass(all);
    for (auto& s : *all) {
        out.right_known[s.release.release] = s.slip.right != shelf::Right::unknown;
        out.releases.push_back(std::move(s.release));
    }
    return out;
}

// The set as it was found: from the job's plates and version view, read anew.
Result<change::SetState> found_set(const Context& context, const JobRun& run) {
    IdentifyOptions who;
    for (const auto& [role, plate] : run.job.plates) who.plates.push_back(plate);
    const std::string release = run.job.planned_from.empty() ? run.job.release_found : run.job.planned_from;
    if (!release.empty()) who.views.push_back(view_of(run.job, release));
    who.family = run.job.family;
    auto unit = identify_unit(context, who);
    if (!unit) return pass(unit);
    return set_of(run.family, unit->identity);
}

const change::ChangeSheet kNoSheet;
const forecast::Forecast kNoForecast;
const cutmap::CutMap kNoMap = [] {
    cutmap::CutMap m;
    m.boot_order_known = false;  // nothing was explored, so nothing has a way back
    return m;
}();

}  // namespace

std::string view_of(const book::Job& job, const std::string& release) {
    if (job.view.find(release) != std::string::npos && job.view.find(job.market) != std::string::npos) return job.view;
    return release + (job.market.empty() ? "" : " " + job.market);
}

int JobRun::next_step() const {
    for (std::size_t i = 0; i < plan.steps.size(); ++i) {
        const std::string& release = plan.steps[i].release.release;
        const bool done = std::any_of(job.runs.begin(), job.runs.end(),
                                      [&](const book::Run& r) { return r.outcome == "ended" && r.release == release; });
        if (!done) return static_cast<int>(i) + 1;
    }
    return 0;
}

Result<const PlanStep*> JobRun::step(int wanted) const {
    if (plan.steps.empty())
        return bad_input("job-has-no-step", "job " + number, "its plan has no step to run",
                         "see why: fettle plan --job " + number);
    const int n = wanted > 0 ? wanted : next_step();
    if (n == 0)
        return bad_input("all-steps-done", "job " + number, "every planned step has been run to its end",
                         "go on with as-left and prove, or name the step to run again with --step");
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

Result<JobRun> load_job_and_family(const Context& context, const std::string& number, Unidentified unidentified) {
    JobRun out;
    auto job = load_job(context, number);
    if (!job) return pass(job);
    out.job = std::move(*job);
    out.number = out.job.number;
    if (out.job.family.empty() && unidentified == Unidentified::allowed) {
        out.family.words = "boxes of no known family";
        out.family.level = "L0";
        return out;
    }
    if (out.job.family.empty())
        return bad_input("job-has-no-family", "job " + out.number, "its boxes were not identified",
                         "run: fettle identify PLATE… --view TEXT --job " + out.number);
    auto family = load_family_by_id(context, out.job.family);
    if (!family) return pass(family);
    out.family = std::move(*family);
    out.family_changed = !out.job.family_digest.empty() && out.job.family_digest != out.family.digest;
    return out;
}

Result<JobRun> load_last_run(const Context& context, const std::string& number) {
    auto out = load_job_and_family(context, number, Unidentified::allowed);
    if (!out || (!out->job.runs.empty() && !out->job.runs.back().expected.empty())) return out;
    return load_job_run(context, number, Unidentified::allowed);
}

Result<JobRun> load_job_run(const Context& context, const std::string& number, Unidentified unidentified) {
    auto loaded = load_job_and_family(context, number, unidentified);
    if (!loaded) return pass(loaded);
    JobRun out = std::move(*loaded);
    if (out.family.id.empty()) return out;
    auto facts = shelf_facts(context, out.family.id);
    if (!facts) return pass(facts);
    out.right_known = std::move(facts->right_known);
    if (out.job.target.empty() || out.job.plates.empty()) return out;
    auto set = found_set(context, out);
    if (!set) return pass(set);

    PlanRequest request;
    request.family = &out.family;
    request.set = std::move(*set);
    request.shelf = std::move(facts->releases);
    request.to = out.job.target;
    request.complaint = out.job.complaint;
    const auto& c = out.job.consents;
    request.consent_one_way = std::find(c.begin(), c.end(), "one-way") != c.end();
    if (out.job.as_found_origin == "typed" || out.job.as_found_origin == "read") {
        request.as_found.emplace();
        request.as_found->origin = out.job.as_found_origin == "read" ? change::Origin::read : change::Origin::typed;
        for (const book::Installed& p : out.job.as_found)
            request.as_found->pieces.push_back({p.box, p.name, p.version, ""});
        if (request.as_found->pieces.empty()) request.as_found.reset();
    }
    request.own_runs = own_runs_of(context, out.family.id);
    out.plan = make_plan(request);
    return out;
}

watch::Observed observed(const book::Run& run, bool on_bench) {
    watch::Observed out;
    out.started = run.started;
    out.on_bench = on_bench;
    out.against_halt = run.against_halt;
    bool ended = false;
    for (const book::RunMark& m : run.marks) {
        out.marks.push_back({m.event, m.at, m.source, m.undone});
        ended = ended || (m.event == "ended" && !m.undone);
    }
    if (run.outcome == "ended" && run.ended && !ended) out.marks.push_back({"ended", *run.ended, "journal", false});
    for (const book::TextSeen& t : run.texts) {
        if (!t.undone) out.shown.push_back({t.text, t.at});
    }
    for (const book::TallySeen& t : run.tallies) {
        if (t.undone) continue;
        watch::TallyReading r;
        r.at = t.at;
        const auto count = [&](const char* name) {
            const auto it = t.counts.find(name);
            return it == t.counts.end() ? std::nullopt : std::optional(it->second);
        };
        r.landed = count("landed");
        r.passed_over = count("passed_over");
        r.refused = count("refused");
        r.to_come = count("to_come");
        out.tally.push_back(r);
    }
    return out;
}

Watched watched(const JobRun& run, const book::Run& which) {
    Watched out{nullptr, &run.family, &kNoSheet, &kNoForecast, &kNoMap};
    if (auto kept =
            which.expected.empty() ? Result<Expected>(tl::unexpected(Error{})) : expected_from(which.expected)) {
        out.kept = std::make_shared<const Expected>(std::move(*kept));
        out.sheet = &out.kept->sheet;
        out.forecast = &out.kept->forecast;
        out.map = &out.kept->map;
    } else if (const PlanStep* step = run.step_of(which)) {
        out.sheet = &step->sheet;
        out.forecast = &step->forecast;
        out.map = &step->map;
    }
    return out;
}

UnixMs seen_until(const book::Run& run, UnixMs now) {
    return run.outcome == "broken off" && run.ended ? *run.ended : now;
}

}  // namespace fettle::app
