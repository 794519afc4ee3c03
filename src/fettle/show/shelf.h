// What the shelf took in, what it holds, and one release of it.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/shelf_acts.h"

namespace fettle::show {

// Of a refused package too: every finding is a reason, and the answer counts as bad input.
Answer shelved(const workshop::Shelving& shelving);
Answer shelf_list(const workshop::ShelfList& list);
Answer release(const workshop::ShownRelease& shown);

}  // namespace fettle::show
