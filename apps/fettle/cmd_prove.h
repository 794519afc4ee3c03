// fettle as-left J, fettle faults J, fettle prove J: what is installed now, what the fault memory says, and whether it
// is what the plan wanted. All by typed text; `link read` and `link faults` write the same entries.
#pragma once

#include <string>

#include "context.h"
#include "fettle/workshop/prove_job.h"
#include "fettle/workshop/read_faults.h"

namespace fettle::app {

struct AsLeftOptions {
    std::string job;
    std::string typed;      // --typed FILE: one line a piece, "box name version"
    bool withdraw = false;  // --withdraw: the list goes again
    std::string release;    // --release R: what the box shows; without a list the pieces are inferred from its index
    std::string history;    // --history R,R: the releases that the box shows as installed in it, oldest first
};
Result<Answer> as_left(Context& context, const AsLeftOptions& options);

struct FaultsOptions {
    workshop::TypedFaults ask;
    std::string typed;       // --typed "B1A4F-13:28 …", or "none" when the memory was read and is empty
    bool none_read = false;  // --none-read: it was not read
};
Result<Answer> faults(Context& context, const FaultsOptions& options);

struct ProveOptions : workshop::ProveRequest {
    bool full = false;  // --full: every piece
};
Result<Answer> prove_job(Context& context, const ProveOptions& options);

}  // namespace fettle::app
