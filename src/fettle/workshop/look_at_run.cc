#include "fettle/workshop/look_at_run.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/link/supply_source.h"
#include "fettle/workshop/run_supply.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::workshop {
namespace {

// What the source has now. Another watch may record at the same time: then nothing is taken twice.
Result<std::vector<std::string>> take_along(const Workshop& shop, const JobRun& run, const std::string& from) {
    const auto supply = RunSupply::open(shop, run, from, {});
    if (!supply) return pass(supply);
    const int most = link::is_supply_address(from) ? 3 : 100'000;  // an instrument has one more at any time
    for (int i = 0; i < most && !(*supply)->rests(); ++i) (void)(*supply)->take();
    (*supply)->end();
    return (*supply)->troubles();
}

// A clock that was set is said at once, and a time that is in doubt until somebody has stated it.
void judge_times(RunLook& out, const std::optional<book::ClockStep>& now) {
    const book::Run& run = out.run;
    if (clock_doubted(run, now)) {
        const bool only_now = run.clock_set.empty();
        const auto& step = only_now ? *now : run.clock_set.front().step;
        const bool exact = (!now || now->exact) && std::all_of(run.clock_set.begin(), run.clock_set.end(),
                                                               [](const book::ClockSet& c) { return c.step.exact; });
        out.judgement.add(
            {"clock-set", exact ? Verdict::mind : Verdict::cant_say,
             fmt::format("the clock was set {}{} while the run was open; {}", step.by_s > 0 ? "on by " : "back by ",
                         (exact ? "" : "at least ") + human_duration(std::abs(step.by_s)),
                         exact ? "where it is goes by how long the machine has been running"
                               : "where it is by time can't be said: go by what the unit shows"),
             "clock", exact ? "running time of the machine" : "order of the entries"});
    }
    if (!run.times || !asks_how_long(*run.times)) return;
    out.judgement.add({"run-time-in-doubt", Verdict::cant_say, doubt_words(*run.times), "run", "journal",
                       Next{"say how long it took, or not-known: ",
                            propose(Act::mark, {job(out.job), wanted("lasted", "31m"), wanted("by", "NAME")})}});
}

}  // namespace

bool asks_how_long(const book::RunTimes& t) {
    return t.doubt == "clock" || t.doubt == "early" || t.doubt == "short" || t.doubt == "long";
}

std::string doubt_words(const book::RunTimes& t) {
    const std::string took = human_duration(t.seconds);
    if (t.doubt == "clock") return "how long it took is not known: the clock was set meanwhile";
    if (t.doubt == "early") return "it is marked as ended after " + took + ", and no good run ends so early";
    if (t.doubt == "short") return took + " is shorter than any good run takes; did it end then?";
    if (t.doubt == "long") return took + " is longer than any good run takes; did it end then?";
    if (t.doubt == "continued") return "it went on from a run that broke off, so it is no measure of a whole one";
    if (t.doubt == "skipped") return "an ask was not answered, so it is no measure of a whole run";
    return "somebody struck it from what own runs teach";
}

tl::unexpected<Error> no_run(const std::string& number) {
    return bad_input("no-run", "job " + number, "no run was begun",
                     Next{"begin one: ", propose(Act::watch, {job(number), flag("start"), wanted("by", "NAME")})});
}

RunLook look_at(const Workshop& shop, const JobRun& run, std::size_t number, watch::CallRule rule) {
    const book::Run& which = run.job.runs.at(number - 1);
    RecordedSupply recorded = recorded_supply(shop, run.number, number, which);
    RunLook out{run.number, run.level(), which, {}, RunFollow(run, which, rule), {}};
    out.follow.see(which, std::move(recorded.samples));
    out.where = out.follow.tick(run_now(shop, run.job, which));
    out.judgement = out.where.judgement;
    for (Reason& r : out.judgement.reasons) r.next.name_job(out.job);
    judge_times(out, clock_step_now(shop, run.job));
    if (recorded.changed)
        out.judgement.add({"series-changed", Verdict::cant_say,
                           "the recorded supply of this run is not what the journal knows by its digest", "supply",
                           "digest"});
    return out;
}

Result<RunLook> look_at_run(const Workshop& shop, const LookRequest& request) {
    auto run = load_last_run(shop, request.job);
    if (!run) return pass(run);
    if (run->job.runs.empty()) return no_run(run->number);
    std::vector<std::string> troubles;
    if (!request.supply.empty()) {
        auto taken = take_along(shop, *run, request.supply);
        if (!taken) return pass(taken);
        troubles = std::move(*taken);
        auto job = load_job(shop, run->number);  // with what was seen broken
        if (!job) return pass(job);
        run->job = std::move(*job);
    }
    RunLook out = look_at(shop, *run, run->job.runs.size(), request.rule);
    for (std::string& t : troubles)
        out.judgement.add({"supply-trouble", Verdict::mind, std::move(t), "supply", "tried now"});
    return out;
}

}  // namespace fettle::workshop
