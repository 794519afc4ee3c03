// One reading of whatever feeds the boxes. ready takes it to count with, watch to see what the boxes do; where it
// comes from (a bench supply over the wire, a file, a pipe) is neither's business.
#pragma once

#include <cmath>
#include <limits>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"

namespace fettle {

struct SupplySample {
    UnixMs t = 0;                                             // when it was taken, by this machine's clock
    double volts = std::numeric_limits<double>::quiet_NaN();  // NaN: not read
    double amps = std::numeric_limits<double>::quiet_NaN();   // NaN: not read

    bool has_volts() const { return std::isfinite(volts); }
    bool has_amps() const { return std::isfinite(amps) && amps >= 0; }
};

// Readings as they come. One thread at a time.
class SupplySource {
public:
    virtual ~SupplySource() = default;
    // What came since the last call, oldest first; empty when nothing did. Never waits longer than a reading takes. An
    // error (no answer, text in place of a figure, time running backwards) is a thing to say; the source stays usable
    // and may be asked again.
    virtual Result<std::vector<SupplySample>> take() = 0;
};

}  // namespace fettle
