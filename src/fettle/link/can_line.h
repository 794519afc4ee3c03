// Inside the link room: lines on a CAN bus. An address on CAN reaches one box.
#pragma once

#include <memory>

#include "fettle/link/client.h"
#include "fettle/link/line.h"
#include "fettle/link/loop.h"

namespace fettle::link {

// Our own ISO-TP over frames.
Result<std::shared_ptr<Line>> open_can(const BoxAddress& at, Loop& loop, const Timing& timing,
                                       std::shared_ptr<Recorder> record);

// The kernel's ISO-TP socket (CAN_ISOTP): the same messages, its own timers. outside "link-not-reachable" where the
// kernel has none; nothing can be recorded, because the frames are not seen.
Result<std::shared_ptr<Line>> open_kernel_isotp(const BoxAddress& at, Loop& loop);

}  // namespace fettle::link
