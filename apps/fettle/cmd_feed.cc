#include "cmd_feed.h"

#include "commands.h"
#include "fettle/base/text.h"
#include "fettle/show/feed.h"
#include "fettle/workshop/run_witness.h"

namespace fettle::app {

Result<Answer> ready_supply(Context& context, const workshop::SupplyRequest& request) {
    const auto read = workshop::read_supply(context, request);
    if (!read) return pass(read);
    return show::supply_read(*read);
}

Result<Answer> ready_guard(Context& context, const workshop::GuardRequest& typed) {
    auto request = typed;
    request.broken = [&](const Breach& b) { context.say("\a" + printable(workshop::breach_words(b)) + "\n"); };
    request.without_reading = [&](const Error& e) {
        context.say("No reading: " + printable(shortened(e.message(as_command))) + "\n");
    };
    const auto guarded = workshop::guard_run(context, request);
    if (!guarded) return pass(guarded);
    return show::guarded(*guarded);
}

Result<Answer> ready_breach(Context& context, const workshop::BreachRequest& request) {
    const auto breached = workshop::keep_breach(context, request);
    if (!breached) return pass(breached);
    return show::breached(*breached);
}

}  // namespace fettle::app
