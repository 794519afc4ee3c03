// What a job's journal says of a run that broke.
#include <algorithm>
#include <tuple>

#include "fettle/watch/align.h"
#include "fettle/workshop/mend_job.h"
#include "fettle/workshop/prove_job.h"
#include "fettle/workshop/run_follow.h"

namespace fettle::workshop {
namespace {

constexpr UnixMs kOneMoment_ms = 1000;  // nobody taps so exactly that the order of two taps within it says anything

// By time, in whatever order they were typed; what was marked within one moment in the order of the script, all at its
// beginning.
void put_in_order(const std::vector<family::Act>& script, std::vector<watch::Mark>& marks) {
    const auto place = [&](const watch::Mark& m) {
        return std::find_if(script.begin(), script.end(), [&](const family::Act& a) { return a.id == m.event; }) -
               script.begin();
    };
    const auto by_time = [&](const watch::Mark& a, const watch::Mark& b) {
        return std::tuple(a.at, place(a), std::string_view(a.event)) <
               std::tuple(b.at, place(b), std::string_view(b.event));
    };
    std::sort(marks.begin(), marks.end(), by_time);
    UnixMs moment = 0;
    for (std::size_t i = 0; i < marks.size(); ++i) {
        if (i == 0 || marks[i].at - moment > kOneMoment_ms) moment = marks[i].at;
        marks[i].at = moment;
    }
    std::sort(marks.begin(), marks.end(), by_time);
}

}  // namespace

std::vector<Tried> tried_of(const book::Job& job) {
    std::vector<Tried> out;
    const std::string& release = job.runs.back().release;
    for (std::size_t i = 0; i < job.runs.size(); ++i) {
        const book::Run& r = job.runs[i];
        if (r.release != release) continue;
        for (const book::Attempt& t : r.attempts) out.push_back(t);
        const bool again = std::any_of(job.runs.begin() + static_cast<std::ptrdiff_t>(i) + 1, job.runs.end(),
                                       [&](const book::Run& x) { return x.release == release; });
        if (again && r.outcome == RunState::broken_off && r.attempts.empty())
            out.push_back({MendKind::same_card, Came::begun_again});
    }
    return out;
}

mend::Seen seen_of(const JobRun& run, UnixMs trouble) {
    const book::Run& last = run.job.runs.back();
    mend::Seen out;
    const auto seconds = [&](UnixMs at) { return std::max(0.0, static_cast<double>(at - last.started) / 1000); };
    watch::Observed seen = watch::with_end(observed(last, run.on_bench()));
    std::erase_if(seen.marks, [&](const watch::Mark& m) {
        return m.undone || m.at >= trouble || m.event == "link-silent" || m.event == "broken-off";
    });
    std::erase_if(seen.shown, [&](const watch::ShownText& t) { return t.at >= trouble; });
    for (const watch::Mark& m : seen.marks) out.alive_s = std::max(out.alive_s, seconds(m.at));
    put_in_order(run.family.script, seen.marks);
    const auto& script = run.family.script;
    if (!script.empty()) {
        const watch::Alignment marks =
            watch::align(script, seen, trouble, [](std::size_t, std::size_t) { return 0.0; });
        if (!marks.anchors.empty() && !marks.astray) {
            out.act = script[marks.anchors.back().act].id;
            out.act_at_s = marks.anchors.back().at_s;
        }
    }
    for (const watch::ShownText& t : seen.shown) out.alive_s = std::max(out.alive_s, seconds(t.at));
    for (const watch::TallyReading& t : seen.tally) {
        if (t.at >= trouble) continue;
        out.alive_s = std::max(out.alive_s, seconds(t.at));
        const bool later = !out.landed || seconds(t.at) > out.landed_at_s ||
                           (seconds(t.at) == out.landed_at_s && t.landed < out.landed);
        if (!t.landed || !later) continue;
        out.landed = t.landed;
        out.landed_at_s = seconds(t.at);
    }
    out.trouble_s = std::max(out.alive_s, seconds(trouble));
    out.ended = last.outcome == RunState::ended && !last.early && !end_against_counts(run, last);
    for (const std::string& text : last.shown)
        out.refused = out.refused || watch::meaning_of(run.family, text).refused_piece;
    for (const watch::TallyReading& t : seen.tally) out.refused = out.refused || t.refused.value_or(0) > 0;
    return out;
}

}  // namespace fettle::workshop
