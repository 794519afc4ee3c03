// What is known of a run from its journal and its supply, and what it is held against: the values that come into this
// room.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/record.h"
#include "fettle/base/supply_sample.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"
#include "fettle/forecast/forecast.h"

namespace fettle::watch {

struct Mark {
    std::string event;
    UnixMs at = 0;
    std::string source = "tap";  // "tap", "link", "amps", "stand-in"
    bool undone = false;
};

struct ShownText {  // what the box shows, word for word
    std::string text;
    UnixMs at = 0;
};

struct TallyReading {  // what the box counts; classes that were not read are absent
    std::optional<int> landed, passed_over, refused, to_come;
    UnixMs at = 0;

    bool operator==(const TallyReading&) const = default;
};

struct Observed {
    UnixMs started = 0;
    bool on_bench = true;
    bool against_halt = false;
    std::vector<Mark> marks;  // in the order they were made
    std::vector<ShownText> shown;
    std::vector<TallyReading> tally;
    std::vector<SupplySample> supply;  // as it came; in any order, with gaps, with readings that are no numbers
    RunState state = RunState::open;
    bool clock_unsure = false;      // the clock was set meanwhile, and nobody knows by how much
    bool continued = false;         // it goes on from a run that was broken off: not from the script's beginning
    std::optional<UnixMs> over_at;  // when it ended or was broken off, as the journal has it
};

bool says_ended(const Mark& mark);  // and was not taken back
// With the end that the journal has as a mark, where no mark says it.
Observed with_end(Observed seen);

struct Step {  // what the run is held against; all of the same step
    const family::Family& family;
    const change::ChangeSheet& sheet;
    const forecast::Forecast& forecast;
    const cutmap::CutMap& map;
};

// The same, owned.
struct Against {
    family::Family family;
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;

    Step step() const { return {family, sheet, forecast, map}; }
};

}  // namespace fettle::watch
