// Where a run is, as JSON: what watch and mark have in common.
#pragma once

#include <boost/json/object.hpp>

#include "fettle/book/job.h"
#include "fettle/watch/tracker.h"

namespace fettle::show {

boost::json::object where_as_json(const watch::Where& where, const book::Run& run);

}  // namespace fettle::show
