#include "fettle/link/gate.h"

#include <fmt/format.h>

#include "fettle/link/uds.h"

namespace fettle::link {

Held held(Phase phase, ByteView message, bool loopback) {
    if (phase == Phase::run_open) return Held::run;
    if (uds::only_reads(message)) return Held::free;
    if (!uds::only_clears(message)) return Held::not_listed;
    if (phase != Phase::no_run) return Held::clear_in_run;
    return loopback ? Held::free : Held::clear_far;
}

std::string held_back(Phase phase, ByteView message, bool loopback) {
    switch (held(phase, message, loopback)) {
        case Held::free: return {};
        case Held::run: return "not asked: a run is open, and the link is silent until it has ended";
        case Held::not_listed:
            return fmt::format("not asked: {} is not on the list of what the link may ask", hex(message));
        case Held::clear_in_run: return "not asked: nothing is cleared while a run is open";
        case Held::clear_far: return "not asked: entries are cleared on this machine's own stand-ins only, for now";
    }
    return "not asked";
}

}  // namespace fettle::link
