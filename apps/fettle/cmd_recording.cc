#include "cmd_recording.h"

#include <fmt/core.h>

#include "fettle/show/recordings.h"

namespace fettle::app {

Result<Answer> link_replay(Context& context, const workshop::ReplayRequest& typed) {
    auto request = typed;
    if (!context.json)
        request.listens = [](const std::string& address) {
            fmt::print(stderr, "Listening on {}; this answers from a recording.\n", address);
        };
    const auto replayed = workshop::replay_recording(context, request);
    if (!replayed) return pass(replayed);
    return show::replayed(*replayed);
}

Result<Answer> link_blank(Context& context, const workshop::BlankRequest& request) {
    const auto blanked = workshop::blank_recording(context, request);
    if (!blanked) return pass(blanked);
    return show::blanked(*blanked);
}

Result<Answer> link_erase(Context& context, const workshop::EraseRequest& request) {
    const auto erased = workshop::erase_recordings(context, request);
    if (!erased) return pass(erased);
    return show::erased(*erased);
}

}  // namespace fettle::app
