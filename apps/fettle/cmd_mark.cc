#include "cmd_watch.h"
#include "fettle/show/mark.h"
#include "fettle/workshop/store.h"
#include "terminal.h"

namespace fettle::app {

Result<Answer> mark_run(Context& context, const workshop::MarkRequest& request) {
    // A number is soon mistyped: whose unit it is stands there before anything is written.
    if (on_terminal(context))
        if (const auto job = workshop::load_job(context, request.job)) context.say(show::whose_unit(*job) + "\n");
    const auto marked = workshop::mark_run(context, request);
    if (!marked) return pass(marked);
    return show::marked(*marked);
}

}  // namespace fettle::app
