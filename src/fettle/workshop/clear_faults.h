// Asking a box to clear entries: the one act that changes something in a box. docs/faults.md has the rule. What is
// certain stands in the journal at every instant: the order before anything is sent, the box's answers behind it, then
// the memory as it was read again.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/link/clear.h"
#include "fettle/link/inventory.h"
#include "fettle/prove/clearing.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ClearRequest {
    std::string job, box;
    std::vector<std::string> at;          // only addresses of this machine; bad_input "clear-address"
    std::string allowed_by;               // usage "clear-without-name"
    std::vector<std::string> signed_for;  // codes that are not explained and go with the others; "sign-unknown"
    LinkHow how{};                        // never over a second connection, whatever it says
};

struct FaultsCleared {
    std::string box;
    prove::ToClear choice;
    bool sent = false;         // false: nothing may go, so nothing was opened; what follows says nothing
    link::ClearResult result;  // what the box answered
    link::BoxFaults again;     // its memory afterwards, read in the same connection
    prove::Faults faults;      // and what that says
    Judgement judgement;
    std::optional<Recording> recording;
};

// bad_input "box-unknown", "job-has-no-family", "run-open", "no-run", "memory-not-saved" before anything is opened;
// then errors of open_links and of link::Clearing::prepare, with nothing sent that changes anything.
Result<FaultsCleared> clear_faults(const Workshop& shop, const ClearRequest& request);

}  // namespace fettle::workshop
