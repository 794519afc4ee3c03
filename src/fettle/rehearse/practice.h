// Inside the room only: what a rehearsal carries from stage to stage. A stage is a function that goes one step on in
// the job; rehearse.cc goes through them.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/half_done.h"
#include "fettle/plan/plan.h"
#include "fettle/rehearse/bench.h"
#include "fettle/rehearse/rehearse.h"
#include "fettle/rehearse/saved.h"
#include "fettle/workshop/job_run.h"

namespace fettle::rehearse {

inline constexpr const char* kTechnician = "bench 1";
inline constexpr const char* kSource = "stand-in";  // of every mark that a rehearsal makes
inline constexpr const char* kWhy = "rehearsal on a virtual set";

struct Practice {
    Practice(const workshop::Workshop& outer, const Request& request);
    Practice(const Practice&) = delete;
    Practice& operator=(const Practice&) = delete;

    const workshop::Workshop& outer;  // the shop's own: read, never written
    const Request& request;
    ManualClock clock;
    workshop::Workshop shop;  // the rehearsal's, with its own home and clock
    Saved saved;              // what is rehearsed, as its folder keeps it
    std::filesystem::path folder;
    bool made_folder = false;      // it was not there before
    std::optional<HalfDone> half;  // until it can be gone on with
    Lock lock;
    family::Family family;
    std::vector<family::Release> releases;
    std::unique_ptr<Bench> bench;
    int to_replay = 0;  // of the present run: signs that stand in the journal already and are not marked again
    Rehearsed so_far;

    const std::string& job() const { return saved.job; }
    std::vector<Argument> about_job(std::vector<Argument> arguments = {}) const;  // with the job's number first
    void tell(const Told& told) const {
        if (request.tell) request.tell(told);
    }
    // Tells what came of an act, and passes it on.
    template <class T>
    Result<T> did(std::vector<Argument> said, Result<T> outcome, bool at_length = false) const {
        if (outcome) tell(Done{&*outcome, std::move(said), at_length});
        return outcome;
    }
    Status keep(bool ended);  // in the folder, with the lock on it
};

// In the order of the job.
Status prepare(Practice& p);       // folder, releases, virtual set
Status set_up_bench(Practice& p);  // of releases that are there
Status take_in(Practice& p);
Status shelve(Practice& p);
Status read_before(Practice& p);
Result<plan::Plan> make_plan(Practice& p);
Status lay_and_audit(Practice& p, const std::string& release);
Status put_in(Practice& p, const std::string& release);
Status make_ready(Practice& p, int step);
Status run_step(Practice& p, int step, const plan::PlanStep& planned);
// From the start of a run, at `began`, to its end. Signs that stand in the journal already are passed at once.
Status follow_run(Practice& p, const plan::PlanStep& planned, UnixMs began);
// Power is away for a while, comes back, and the set starts, as far as it does. Virtual seconds that passed.
Result<double> cut_power(Practice& p, const plan::PlanStep& planned, UnixMs began, double at_s);
Status read_after(Practice& p);
Status prove(Practice& p);
Status hand_over(Practice& p);

// What is seen at the set, marked in the journal like a technician does; not again what stands there already.
Status mark(Practice& p, const std::string& event, const std::string& shows = {}, const std::string& tally = {});
Status mark(Practice& p, const standin::Event& event);

// One that was left in the middle (go_on.cc).
Status load(Practice& p);
// The step has been begun before: brings the virtual set to where the journal ends, and goes on from there.
Status take_up(Practice& p, int step, const plan::PlanStep& planned, const book::Run& run);

}  // namespace fettle::rehearse
