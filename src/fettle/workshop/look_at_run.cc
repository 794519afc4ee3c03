#include "fettle/workshop/look_at_run.h"

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

}  // namespace

tl::unexpected<Error> no_run(const std::string& number) {
    return bad_input("no-run", "job " + number, "no run was begun",
                     Next{"begin one: ", propose(Act::watch, {job(number), flag("start"), wanted("by", "NAME")})});
}

RunLook look_at(const Workshop& shop, const JobRun& run, std::size_t number, watch::CallRule rule) {
    const book::Run& which = run.job.runs.at(number - 1);
    RecordedSupply recorded = recorded_supply(shop, run.number, number, which);
    RunLook out{run.number, run.level(), which, {}, RunFollow(run, which, rule), {}};
    out.follow.see(which, std::move(recorded.samples));
    out.where = out.follow.tick(shop.clock->now());
    out.judgement = out.where.judgement;
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
