// Inside the link room: the ways to open a line. Errors as Connection::open tells them.
#pragma once

#include <memory>

#include "fettle/link/client.h"
#include "fettle/link/line.h"
#include "fettle/link/loop.h"

namespace fettle::link {

Result<std::shared_ptr<Line>> open_doip(const Endpoint& at, Loop& loop, const Options& options, const Timing& timing,
                                        const Cancel& cancel);
Result<std::shared_ptr<Line>> open_line(const BoxAddress& at, Loop& loop, const Options& options, const Timing& timing,
                                        const Cancel& cancel);

}  // namespace fettle::link
