// The whole job on a virtual set, from take-in to the sealed sheet, by the same acts that a technician does. Nothing
// outside its own folder is touched, nothing leaves the loopback interface, and its time is virtual.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/rehearse/told.h"
#include "fettle/standin/box.h"
#include "fettle/workshop/prove_job.h"
#include "fettle/workshop/workshop.h"

namespace fettle::rehearse {

struct Request {
    std::string family = "dunnock";
    std::string from;              // empty: the oldest of the family's example releases
    std::string to;                // empty: the newest of them
    std::optional<double> speed;   // virtual seconds a second; else 300, or what the rehearsal gone on with had
    std::optional<double> cut_at;  // seconds of running, counted over all steps
    std::uint64_t seed = 1;
    std::string out;         // folder; empty: ./rehearsal, or the first ./rehearsal-N that is free
    std::string go_on;       // folder of a rehearsal that was left or killed in the middle: goes on with that
    std::string check_with;  // the program that checks a sheet, as the customer types it (workshop::HandOverRequest)

    std::function<void(const Told&)> tell{};  // may be empty
    bool every_look = false;                  // told where the run is at every look, not only when something matters
};

// A power cut that was rehearsed: what the map had said of that instant, and what the virtual set then did.
struct Cut {
    std::string release, act;
    int cell = -1;
    double at_s = 0;  // of that step
    cutmap::Outcomes map_said;
    std::string story;
    standin::Fate came = standin::Fate::done;

    bool agree() const;  // did the map name what came?
};

struct Rehearsed {
    std::string from, to, folder, job, level;
    double ran_s = 0;  // virtual seconds of running, over all steps
    bool broken_off = false;
    workshop::Proved proof;
    std::optional<Cut> cut;
    std::string mended_first;        // the kind of attempt that mend put first after the cut; empty: it was not asked
    std::vector<std::string> files;  // left for the person, relative to the folder
    Judgement judgement;             // of the proof; halt when the map had not named what the cut led to
};
// After an error before the job and its shelf stand, nothing of the folder stays; after a later one it can be gone on
// with. usage "bad-speed", "bad-cut", "go-on-with-others", "release-not-named"; bad_input "folder-not-empty",
// "release-unknown", "no-example-releases", "no-example-plate", "rehearsal-one-card", "rehearsal-not-started",
// "rehearsal-not-begun", "rehearsal-busy", "rehearsal-ended"; outside "rehearsal-differs"; those of every act.
Result<Rehearsed> rehearse(const workshop::Workshop& shop, const Request& request);

}  // namespace fettle::rehearse
