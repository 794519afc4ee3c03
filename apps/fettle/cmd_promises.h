#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

struct BookPromisesOptions {
    std::string family;  // --family ID; empty: all
};
// fettle book promises: how many of the nine-in-ten times were kept, with exact bounds on the share behind it, and the
// mean pinball loss.
Result<Answer> book_promises(workshop::Workshop& shop, const BookPromisesOptions& options);

}  // namespace fettle::app
