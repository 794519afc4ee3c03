// What a job's journal says for the proof of its last run.
#include <algorithm>

#include "fettle/watch/tracker.h"
#include "fettle/workshop/prove_job.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/tried_functions.h"

namespace fettle::workshop {
namespace {

std::optional<prove::Counted> counted_by(const book::Run& run) {
    if (run.tally.empty()) return std::nullopt;
    const auto count = [&](const char* name) {
        const auto it = run.tally.find(name);
        return it == run.tally.end() ? std::nullopt : std::optional(it->second);
    };
    return prove::Counted{count("landed"), count("passed_over"), count("refused"), count("to_come")};
}

// The planned path up to the release of the last run, for each box that a step has pieces for; role "": of the set.
std::map<std::string, std::vector<std::string>> path_to(const JobRun& run, const std::string& release) {
    std::map<std::string, std::vector<std::string>> path;
    for (const plan::PlanStep& s : run.plan.steps) {
        path[""].push_back(s.release.release);
        for (const family::Box& b : run.family.boxes)
            if (std::any_of(s.release.pieces.begin(), s.release.pieces.end(),
                            [&](const family::Piece& p) { return p.box == b.role; }))
                path[b.role].push_back(s.release.release);
        if (s.release.release == release) break;
    }
    return path;
}

}  // namespace

std::optional<change::InstalledList> as_left_of(const book::Job& job) {
    if (job.as_left_origin == Origin::not_read || job.as_left.empty()) return std::nullopt;
    change::InstalledList out;
    out.origin = job.as_left_origin;
    out.inferred_from = job.as_left_release;
    out.pieces = job.as_left;
    return out;
}

bool end_against_counts(const JobRun& run, const book::Run& which) {
    const auto count = [&](const char* name) {
        const auto at = which.tally.find(name);
        return at == which.tally.end() ? std::nullopt : std::optional(at->second);
    };
    if (count("to_come").value_or(0) > 0) return true;
    return count("landed") == 0 && against(run, which)->sheet.tally.landed.expected > 0;
}

prove::Evidence evidence_of(const JobRun& run, std::optional<double> since_end_s) {
    const book::Job& job = run.job;
    const book::Run& last = job.runs.back();
    prove::Evidence e;
    e.as_left = as_left_of(job);
    if (!job.as_left_release.empty()) e.release_shown = job.as_left_release;
    e.tally = counted_by(last);
    if (last.outcome == RunState::ended) e.run_ended = !last.early && !end_against_counts(run, last);
    e.settled_s = since_end_s;
    for (const std::string& text : last.shown) {
        if (watch::meaning_of(run.family, text).refused_piece) e.refused_texts.push_back(text);
    }
    for (const family::Trial& t : run.family.trials) {
        if (const auto good = tried_and_good(job, t.words)) (*good ? e.tried : e.tried_bad).push_back(t.words);
    }
    e.complaint = job.complaint;
    for (const auto& [role, said] : job.said_after) {
        if (!said.release.empty()) e.releases[role] = said.release;
        if (said.history) e.history_after[role] = *said.history;
    }
    for (const auto& [role, said] : job.said_before)
        if (said.history) e.history_before[role] = *said.history;
    if (job.as_left_history) e.history_after[""] = *job.as_left_history;
    e.path = path_to(run, last.release);
    return e;
}

}  // namespace fettle::workshop
