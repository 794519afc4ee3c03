// fettle link replay, link blank, link erase.
#pragma once

#include "context.h"
#include "fettle/workshop/recordings.h"

namespace fettle::app {

// Tells on standard error where it listens.
Result<Answer> link_replay(Context& context, const workshop::ReplayRequest& request);
Result<Answer> link_blank(Context& context, const workshop::BlankRequest& request);
Result<Answer> link_erase(Context& context, const workshop::EraseRequest& request);

}  // namespace fettle::app
