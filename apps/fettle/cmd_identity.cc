#include "cmd_identity.h"

#include <optional>

#include "fettle/show/identity.h"

namespace fettle::app {

Result<Answer> identify(Context& context, const workshop::IdentifyRequest& typed) {
    auto request = typed;
    request.job = context.job;
    const auto found = workshop::identify(context, request);
    if (!found) return pass(found);
    return show::identified(*found);
}

Result<Answer> vin(Context&, const VinOptions& options) {
    return show::vin(identity::check_vin(options.vin, options.rule_applies ? std::optional(true) : std::nullopt));
}

}  // namespace fettle::app
