// fettle as-left J, fettle faults J, fettle prove J: what is installed now, what the fault memory says, and whether it
// is what the plan wanted. All by typed text; `link read` and `link faults` write the same entries.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/workshop/job_run.h"

namespace fettle::app {

struct AsLeftOptions {
    std::string job;
    std::string typed;    // --typed FILE: one line a piece, "box name version"
    std::string release;  // --release R: what the box shows; without a list the pieces are inferred from its index
    std::string history;  // --history R,R: the releases that the box shows as installed in it, oldest first
};
Result<Answer> as_left(Context& context, const AsLeftOptions& options);

struct FaultsOptions {
    std::string job;
    std::string when;        // --when before|after; empty: after
    std::string typed;       // --typed "B1A4F-13:28 …", or "none" when the memory was read and is empty
    bool none_read = false;  // --none-read: it was not read
    std::string in;          // --in bench|vehicle: where it was read; empty: where the job is done
};
Result<Answer> faults(Context& context, const FaultsOptions& options);

struct ProveOptions {
    std::string job;
    std::vector<std::string> tried;      // --tried N: function N of the list was tried and is good
    std::vector<std::string> tried_bad;  // --bad N: tried and not good
    bool full = false;                   // --full: every piece
};
Result<Answer> prove_job(Context& context, const ProveOptions& options);

}  // namespace fettle::app
