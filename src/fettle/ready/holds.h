// What must stay true from the start of a run to its end: what the family file says, and what every run wants. And what
// was seen to break it: a pure witness of the supply's voltage. Bus traffic and taps come from elsewhere in the same
// form.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/record.h"
#include "fettle/base/supply_sample.h"
#include "fettle/family/family.h"

namespace fettle::ready {

// The holds of this place: the family's, then the general ones that it has no entry for (common practice): doors,
// lights, key, other testers, stop-start and charger in a vehicle; medium and feed on a bench.
std::vector<family::Hold> holds_of(const family::Family& family, bool on_bench);

// Is it that the support supply stays on, by its id?
bool is_support(const family::Hold& hold);

// Which hold a witness speaks of: the first of the place that it sees, in the file's order; "supply" when none.
std::string hold_seen_by(const std::vector<family::Hold>& holds, std::string_view witness);

// Watches the voltage of a supply. Says a thing once, and again only after it was good for ten seconds:
//   below the lowest voltage that the box needs; a dip or a rise of 0.7 V and more against the last half minute
//   (somebody cranks, a large consumer, a charger that starts or drops out); no voltage at all.
// What was not read is no evidence. Samples in order of time; one that is older than the last is ignored, unless by two
// minutes and more: then the clock was set back.
class VoltageWitness {
public:
    VoltageWitness(const family::Family& family, bool on_bench);
    std::optional<Breach> observe(const SupplySample& sample);

private:
    enum class State { unknown, good, low, dip, rise, gone };
    std::optional<Breach> say(State now, const SupplySample& s, std::string words);

    std::string hold_;
    double lowest_V_ = 0;
    double usual_V_ = 0;  // follows slowly: what stood before
    State state_ = State::unknown;
    UnixMs newest_ = 0, last_ = 0, good_since_ = 0;
};

inline constexpr double kStep_V =
    0.7;  // a change that a run's own currents do not make on good leads (common practice)

}  // namespace fettle::ready
