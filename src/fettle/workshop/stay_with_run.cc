#include "fettle/workshop/stay_with_run.h"

#include <fmt/format.h>

#include <chrono>
#include <cmath>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

const SystemClock kMachine;  // its own time, also in a rehearsal

double steady_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

NewEntry jump_entry(double jump_s) {
    return {"note",
            {{"text", fmt::format("the watch's clock went {} by {} at once: the machine slept, or its clock was set; "
                                  "nothing was seen meanwhile",
                                  jump_s > 0 ? "on" : "back", human_duration(std::abs(jump_s)))}}};
}

}  // namespace

std::filesystem::path beats_folder(const Workshop& shop) {
    return shop.home / "beats";
}

StayWithRun::StayWithRun(const Workshop& shop, JobRun run, const StayRequest& request)
    : shop_(shop),
      run_(std::move(run)),
      number_(run_.job.runs.size()),
      rule_(request.rule),
      live_(shop, run_.job),
      heart_(beats_folder(shop), run_.number),
      ringer_(request.means),
      clocks_(kMachine.now(), steady_s()) {
    follow_.emplace(run_, which(), request.rule);
}

Result<std::unique_ptr<StayWithRun>> StayWithRun::begin(const Workshop& shop, const StayRequest& request) {
    auto run = load_last_run(shop, request.job);
    if (!run) return pass(run);
    if (run->job.runs.empty()) return no_run(run->number);
    auto supply = RunSupply::open(shop, *run, request.supply, request.listen);
    if (!supply) return pass(supply);
    std::unique_ptr<StayWithRun> out(new StayWithRun(shop, std::move(*run), request));
    out->supply_ = std::move(*supply);
    return out;
}

// Another run that was begun meanwhile is not this one.
bool StayWithRun::over() const {
    return live_.job().runs.size() > number_ || which().outcome != RunState::open;
}

// Marks of another terminal are seen at once. A journal that cannot be read for now ends no watch: it goes on with what
// it knew, and says so.
void StayWithRun::look() {
    const auto looked = live_.look();
    not_read_ = looked ? "" : "the journal cannot be read now: " + looked.error().problem;
    if (!looked || !*looked) return;
    moved_ = true;
    for (const book::CallMade& c : which().calls) {
        alarm::Called& last = made_[c.key];
        if (c.at >= last.at) last = {c.rung, c.at};
    }
}

void StayWithRun::keep(const NewEntry& entry) {
    const auto kept = append_entries(shop_, run_.number, {entry});
    not_kept_ = kept ? "" : "not kept in the journal: " + kept.error().problem;
}

void StayWithRun::keep_called(const alarm::Call& call, const alarm::Rung& rung) {
    made_[call.key] = {call.rung, shop_.clock->now()};
    keep({"called",
          {{"key", call.key},
           {"rung", call.rung},
           {"words", call.words},
           {"by", texts_as_json(rung.by)},
           {"failed", texts_as_json(rung.failed)}}});
}

StayWithRun::Tick StayWithRun::tick() {
    Tick out;
    if (const double jump_s = clocks_.jumped(kMachine.now(), steady_s()); jump_s != 0) keep(jump_entry(jump_s));
    RunSupply::Taken taken = supply_->take();
    for (const Breach& b : taken.breaches) ringer_.ring(run_.number, {"hold:" + b.hold, 0, true, breach_words(b)});
    out.breaches = std::move(taken.breaches);
    look();
    if (moved_ || !taken.samples.empty()) follow_->see(which(), std::move(taken.samples));
    moved_ = false;
    out.where = follow_->tick(run_now(shop_, live_.job(), which()));
    out.over = over();
    if (!out.over) {
        out.call = alarm::call_due(out.where, made_, shop_.clock->now());
        if (out.call) keep_called(*out.call, ringer_.ring(run_.number, *out.call));
    }
    heart_.beat();
    ringer_.tidy();
    if (!awake_.held())
        out.troubles.push_back("This machine may go to sleep: nothing here can keep it awake. Set it to stay on.");
    for (std::string& t : supply_->troubles()) out.troubles.push_back(std::move(t));
    for (const std::string& t : {not_read_, not_kept_})
        if (!t.empty()) out.troubles.push_back(printable(shortened(t)));
    return out;
}

Result<RunLook> StayWithRun::end() {
    supply_->end();
    heart_.stop();
    auto job = load_job(shop_, run_.number);
    if (!job) return pass(job);
    run_.job = std::move(*job);
    return look_at(shop_, run_, number_, rule_);
}

}  // namespace fettle::workshop
