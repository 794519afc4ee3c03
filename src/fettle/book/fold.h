// What one entry adds to a job. fold() walks the entries; each type has one function here.
#pragma once

#include "fettle/book/job.h"
#include "fettle/book/ledger.h"
#include "fettle/book/members.h"

namespace fettle::book {

// nullptr for a type this version does not know. The function reads all members (Members remembers what was wrong) and
// changes the job even if one was: the caller throws such a job away.
using Apply = void (*)(Job& job, const Entry& entry, Members& data);
Apply apply_for(std::string_view type);

}  // namespace fettle::book
