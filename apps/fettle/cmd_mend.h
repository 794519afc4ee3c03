// fettle mend J: what to do after the last run broke, got stuck or failed.
#pragma once

#include <optional>
#include <string>

#include "context.h"

namespace fettle::app {

struct MendOptions {
    std::string job;
    std::string power;                  // --power lost|kept
    std::optional<double> dark_for_s;   // --dark-for, with --now dark: fed and dark for so long
    std::string now;                    // --now starts|recovery|goes-on|dark
    std::string shows;                  // --shows TEXT: what stands on its screen now
    std::string release;                // --release R: that its version view shows now
    std::string supply;                 // --supply holds: it is on a supply now that does not fail again
    std::optional<double> broke_ago_s;  // --broke-ago S: the first sign of trouble; else the mark, else now
    std::string tried, came;            // --tried KIND --came done|nothing|better|worse
    std::string by;
};
Result<Answer> mend_job(Context& context, const MendOptions& options);

}  // namespace fettle::app
