// What came of comparing, verifying, restoring, removing and tidying.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/shelf_care.h"

namespace fettle::show {

// all: name equal files, too.
Answer compared(const shelf::Compared& compared, const workshop::CompareRequest& asked, bool all);
Answer verified(const shelf::Verified& verified);
Answer restored(const shelf::Restored& restored, const workshop::RestoreRequest& asked);
Answer removed(const workshop::Removed& removed);
Answer tidied(const shelf::Tidied& tidied);

}  // namespace fettle::show
