// What a gauging keeps between its steps, in HOME/gauge: enough to read the marks once more after the card was put back
// in.
#pragma once

#include <optional>
#include <string>

#include "fettle/card/devices.h"
#include "fettle/card/gauge.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct GaugeState {
    card::GaugePlan plan;
    std::string sequence;  // of the medium when the marks were written; empty: the system does not count
    std::string at;        // when
};

// Kept by serial and size: the name of a device changes when it is put back in.
// nullopt: no gauging is open for this card. bad_input `gauge-state-damaged`.
Result<std::optional<GaugeState>> read_gauge_state(const Workshop& shop, const card::FoundDevice& device);
Status write_gauge_state(const Workshop& shop, const card::FoundDevice& device, const GaugeState& state);
// The card was written since: its marks are gone.
void forget_gauge_state(const Workshop& shop, const card::FoundDevice& device);

}  // namespace fettle::workshop
