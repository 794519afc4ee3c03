// fettle link find, link read, link faults, link clear.
#pragma once

#include "context.h"
#include "fettle/workshop/clear_faults.h"
#include "fettle/workshop/read_faults.h"
#include "fettle/workshop/read_link.h"

namespace fettle::app {

// Each takes the act's own request; --job of the whole command line goes into it.
Result<Answer> link_find(Context& context, const workshop::FindRequest& request);
Result<Answer> link_read(Context& context, const workshop::ReadRequest& request);
Result<Answer> link_faults(Context& context, const workshop::MemoryRequest& request);
Result<Answer> link_clear(Context& context, const workshop::ClearRequest& request);

}  // namespace fettle::app
