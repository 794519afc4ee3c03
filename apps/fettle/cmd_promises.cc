#include "cmd_promises.h"

#include "fettle/show/promises.h"

namespace fettle::app {

Result<Answer> book_promises(workshop::Workshop& shop, const BookPromisesOptions& options) {
    const auto scored = workshop::score_promises(shop, options.family);
    if (!scored) return pass(scored);
    return show::promises(*scored);
}

}  // namespace fettle::app
