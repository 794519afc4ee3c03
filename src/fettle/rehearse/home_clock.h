// The time of a rehearsal, for the other terminals: its home keeps a small file that says what time it is on the virtual
// bench, and how fast that time passes. So a second terminal looks at the run at the same instant as the rehearsal
// itself, at any speed, and stands still when the rehearsal does.
#pragma once

#include <filesystem>
#include <memory>

#include "fettle/base/clock.h"

namespace fettle::rehearse {

// From `now` on at `speed` virtual milliseconds a real one, no further than `until`. Replaced as a whole; what cannot
// be written is not missed, the time then stands still for others.
void tell_time(const std::filesystem::path& home, UnixMs now, UnixMs until, double speed);

// nullptr when this is no rehearsal's home.
std::unique_ptr<Clock> home_clock(const std::filesystem::path& home);

}  // namespace fettle::rehearse
