#include "fettle/workshop/attach_to_run.h"

#include <fmt/format.h>

#include <chrono>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/workshop/stay_with_run.h"

namespace fettle::workshop {
namespace {

constexpr double kAgain_s = 30;  // between two alarms

double steady_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

}  // namespace

AttachToRun::AttachToRun(const Workshop& shop, JobRun run, const AttachRequest& request)
    : shop_(shop),
      run_(std::move(run)),
      number_(run_.job.runs.size()),
      live_(shop, run_.job),
      follow_(run_, which()),
      supply_(shop, run_.number, number_, which()),
      listener_(request.patience_s),
      ringer_(request.means) {}

Result<std::unique_ptr<AttachToRun>> AttachToRun::begin(const Workshop& shop, const AttachRequest& request) {
    auto run = load_last_run(shop, request.job);
    if (!run) return pass(run);
    if (run->job.runs.empty()) return no_run(run->number);
    return std::unique_ptr<AttachToRun>(new AttachToRun(shop, std::move(*run), request));
}

AttachToRun::Tick AttachToRun::tick() {
    Tick out;
    if (const auto looked = live_.look(); !looked)
        out.trouble = printable(shortened("the journal cannot be read now: " + looked.error().problem));
    out.over = live_.job().runs.size() > number_ || which().outcome != RunState::open;
    const double now_s = steady_s();
    const bool silent = listener_.hear(alarm::read_heart(beats_folder(shop_), run_.number).count, now_s);
    ringer_.tidy();
    if (!silent || out.over) return out;
    out.silent_s = listener_.silent_s(now_s);
    out.words = fmt::format("No sign of life from the watch of job {} for {}. Go to the box.", run_.number,
                            human_duration(*out.silent_s));
    if (now_s - rang_s_ >= kAgain_s) {
        rang_s_ = now_s;
        ringer_.ring(run_.number, {"no-heartbeat", 1, true, out.words});
    }
    return out;
}

watch::Where AttachToRun::where() {
    follow_.see(which(), supply_.more());
    return follow_.tick(run_now(shop_, live_.job(), which()));
}

Result<TestCalled> test_call(const Workshop& shop, const std::string& job, const alarm::Means& means) {
    const auto run = load_last_run(shop, job);
    if (!run) return pass(run);
    alarm::Ringer ringer(means);
    TestCalled out{run->number, run->level(), {}};
    out.rung = ringer.ring(run->number, {"test", 0, true, "This is a test call for job " + run->number + "."});
    for (int i = 0; i < 20; ++i) {
        ringer.tidy();
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
    }
    return out;
}

}  // namespace fettle::workshop
