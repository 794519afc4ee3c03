#include "fettle/link/gate.h"

#include <fmt/format.h>

#include "fettle/link/uds.h"

namespace fettle::link {

std::string held_back(Phase phase, ByteView message, bool loopback) {
    if (phase == Phase::run_open) return "not asked: a run is open, and the link is silent until it has ended";
    if (uds::ReadRequest::from_bytes(message)) return {};
    if (!uds::ClearRequest::from_bytes(message))
        return fmt::format("not asked: {} is not on the list of what the link may ask", hex(message));
    if (phase != Phase::no_run) return "not asked: nothing is cleared while a run is open";
    if (!loopback) return "not asked: entries are cleared on this machine's own stand-ins only, for now";
    return {};
}

}  // namespace fettle::link
