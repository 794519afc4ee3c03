#include "fettle/workshop/prove_job.h"

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/job_faults.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/tried_functions.h"

namespace fettle::workshop {
namespace {

Result<const plan::PlanStep*> step_to_prove(const JobRun& run) {
    if (run.job.runs.empty())
        return bad_input(
            "no-run", "job " + run.number, "no run was begun, so there is nothing to prove",
            Next{"begin one: ", propose(Act::watch, {job(run.number), flag("start"), wanted("by", "NAME")})});
    const book::Run& last = run.job.runs.back();
    const plan::PlanStep* step = run.step_of(last);
    if (!step)
        return bad_input("step-not-planned", "job " + run.number,
                         "the plan no longer has a step to " + printable(last.release) +
                             ", so what it should have left is not known",
                         "shelve that release again (its index will do), or plan again");
    return step;
}

Result<std::vector<NewEntry>> take_tried(JobRun& run, const ProveRequest& request) {
    std::vector<NewEntry> entries;
    for (const bool good : {true, false}) {
        auto functions = functions_by_number(run.family, good ? request.tried : request.tried_bad);
        if (!functions) return pass(functions);
        for (const std::string& w : *functions) entries.push_back(tried(run.job, w, good));
    }
    return entries;
}

std::vector<ToTry> by_number(const family::Family& family, const std::vector<std::string>& to_try) {
    std::vector<ToTry> out;
    for (std::size_t i = 0; i < family.trials.size(); ++i) {
        const std::string& w = family.trials[i].words;
        if (std::find(to_try.begin(), to_try.end(), w) != to_try.end()) out.push_back({i + 1, w});
    }
    return out;
}

Judgement judgement_of(const prove::Answer& proof) {
    Judgement out;
    for (const Reason& r : proof.judgement.reasons)
        if (r.verdict != Verdict::fit) out.add(r);
    if (!proof.missing.empty() && out.verdict() < Verdict::cant_say)
        out.add(
            {"proof-incomplete", Verdict::cant_say, "not everything that proof needs is known", "proof", "not read"});
    return out;
}

Result<Proved> proved_now(const Workshop& shop, const ProveRequest& request) {
    auto run = load_job_run(shop, request.job);
    if (!run) return pass(run);
    const auto step = step_to_prove(*run);
    if (!step) return pass(step);
    auto entries = take_tried(*run, request);
    if (!entries) return pass(entries);
    const change::InstalledList expected = change::after((*step)->sheet, (*step)->release, (*step)->installed);
    Proved out;
    out.job = run->number;
    out.level = run->level();
    out.release = run->job.runs.back().release;
    out.proof = prove::prove(run->family, (*step)->sheet, expected, (*step)->after,
                             evidence_of(*run, since_end_s(shop, run->job, run->job.runs.back())));
    prove::overrule(out.proof, reasons_against(run->job));
    out.to_try = by_number(run->family, out.proof.to_try);
    out.faults = faults_of(shop, *run);
    out.judgement = judgement_of(out.proof);
    for (NewEntry& e : ends_that_follow(*run, out.faults)) entries->push_back(std::move(e));
    entries->push_back({"proved",
                        {{"verdict", code(out.judgement.verdict())},
                         {"word", prove::words(out.proof.proof)},
                         {"reasons", reasons_as_json(out.proof.judgement.reasons)}}});
    if (auto kept = append_entries(shop, run->number, *entries, run->job.last_number); !kept) return pass(kept);
    // Faults are the memory's own matter: they do not make the proof of the pieces worse, but the answer says them.
    out.judgement.add(out.faults.judgement);
    return out;
}

}  // namespace

Result<Proved> prove_job(const Workshop& shop, const ProveRequest& request) {
    return until_journal_rests([&] { return proved_now(shop, request); });
}

}  // namespace fettle::workshop
