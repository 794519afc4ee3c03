// fettle identify, fettle vin.
#pragma once

#include <string>

#include "context.h"
#include "fettle/workshop/identify.h"

namespace fettle::app {

Result<Answer> identify(Context& context, const workshop::IdentifyRequest& request);

struct VinOptions {
    std::string vin;
    bool rule_applies = false;  // --us-market: made for a market of 49 CFR 565
};
Result<Answer> vin(Context& context, const VinOptions& options);

}  // namespace fettle::app
