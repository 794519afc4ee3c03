// fettle handover make J --out DIR, fettle handover check FILE.
#pragma once

#include <string>

#include "context.h"
#include "fettle/workshop/hand_over.h"

namespace fettle::app {

// As a customer would type it. It stands in every sheet that was sealed: never change it.
inline constexpr const char* check_sheet_with = "fettle handover check";

struct HandoverOptions {
    std::string job;
    std::string out;  // --out DIR: made if it is not there
};
// Refused while a loose end is open that nobody signed for, and for a job whose chain is broken.
Result<Answer> handover(Context& context, const HandoverOptions& options);

struct HandoverCheckOptions {
    std::string file;
};
// Needs nothing but the file; says besides whether the key is known in this home.
Result<Answer> handover_check(Context& context, const HandoverCheckOptions& options);

}  // namespace fettle::app
