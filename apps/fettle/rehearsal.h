// What a rehearsal carries from stage to stage. rehearse.cc sets it up and goes through the job, rehearse_stages.cc has
// the stages before a run, rehearse_run.cc one run, rehearse_close.cc what follows.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/base/half_done.h"
#include "fettle/book/job.h"
#include "fettle/card/block_device.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/plan/plan.h"
#include "fettle/standin/server.h"
#include "rehearse.h"

namespace fettle::app {

inline constexpr const char* kRehearsedBy = "bench 1";
inline std::string in_quotes(const std::string& text) {
    return "\"" + text + "\"";
}

// A power cut that was rehearsed: what the map had said of that instant, and what the virtual set then did.
struct RehearsedCut {
    std::string release, act;
    int cell = -1;
    double at_s = 0;  // of that step
    cutmap::Outcomes map_said;
    std::string story;
    standin::Fate came = standin::Fate::done;
    bool agree() const;
};

class Rehearsal {
public:
    Rehearsal(Context& outer, const RehearseOptions& options);

    Result<Answer> run();

private:
    Context& outer_;
    RehearseOptions options_;
    double speed_;
    ManualClock clock_;
    Context inner_;  // the rehearsal's own home and clock
    std::string from_, to_;
    std::filesystem::path folder_;
    bool made_folder_ = false;  // it was not there before
    std::optional<HalfDone> half_;
    std::string job_;
    std::optional<family::Family> family_;
    std::vector<family::Release> releases_;
    bool own_shelf_ = false;  // rehearsing releases of the shop's own shelf, not examples
    std::unique_ptr<standin::Server> server_;
    std::unique_ptr<card::BlockDevice> card_;
    std::string market_;
    std::map<std::string, std::string> plates_;
    double ran_s_ = 0;  // virtual seconds of running, over all steps
    std::optional<RehearsedCut> cut_;
    bool broken_off_ = false;
    std::string mended_first_;  // the kind of attempt that mend put first after the cut
    int lock_ = -1;             // held on rehearsal.json: two programs never go on with one rehearsal
    int replayed_ = 0;          // of the present run: signs that stand in the journal already and are not marked again
    std::vector<std::string> files_;  // what is left for the person, relative to the folder

    Result<Answer> whole_job();
    Result<Answer> gone_on_with();
    Result<Answer> from_the_steps(const Plan& plan);
    void clear_away();  // after an error

    // In the order of the job.
    Status prepare();
    // Kept in the folder from here on: what it takes to go on after the program was ended in the middle.
    Status keep_state(bool ended);
    Status load_state();
    Status lock_state();
    // The step has been begun before: brings the virtual set to where the journal ends, and goes on from there.
    Status take_up(int step, const PlanStep& planned, const book::Run& run);
    Status put_in(const std::string& release);
    Result<bool> take_from_shelf();  // false: the shelf of this home does not hold both releases
    Status make_examples();
    Status set_up_boxes();
    Status take_in();
    Status shelve();
    Status read_before();
    Result<Plan> plan();
    Status lay_and_audit(const std::string& release);
    Status make_ready(int step);
    Status run_step(int step, const PlanStep& planned);
    Status follow_run(const PlanStep& planned, UnixMs began);
    Status read_after();
    Status look_after();
    Result<Answer> prove();
    Status hand_over();
    Result<Answer> closing(const Answer& proof);

    // Says the command as a person would type it and its headline, keeps its entries in the job.
    Result<Answer> did(const std::string& command, Result<Answer> answer, bool whole_text = false);
    Status mark(const std::string& event, const std::string& shows = {}, const std::string& tally = {});
    Status mark_event(const standin::Event& event);
    Status cut_here(const PlanStep& planned, double at_s);
    Status note_cut(const std::string& text);
    Status mended(double ago_s);  // what mend says of the run that was cut, before anybody goes on with it
    Result<double> power_back(UnixMs cut_at);
    void say(const std::string& text) const;
    std::vector<std::string> addresses() const;  // one transport a box
    std::string at_typed() const;                // "--at main=… --at display=…"
    bool reads_pieces() const;
};

}  // namespace fettle::app
