#include "cmd_watch.h"
#include "fettle/show/mark.h"

namespace fettle::app {

Result<Answer> mark_run(Context& context, const workshop::MarkRequest& request) {
    const auto marked = workshop::mark_run(context, request);
    if (!marked) return pass(marked);
    return show::marked(*marked);
}

}  // namespace fettle::app
