// Parts of a plan as JSON, in the one form that the journal and the documents for programs share.
#pragma once

#include <boost/json/fwd.hpp>

#include "fettle/change/change.h"
#include "fettle/forecast/forecast.h"

namespace fettle::plan {

boost::json::array hands_as_json(const forecast::Forecast& forecast);     // {act, from_s, to_s}
boost::json::object set_as_json(const change::SetState& set);             // role → {release, issue, market, counter}
change::SetState set_from_json(const boost::json::object& set);           // what is missing or of another kind is empty
boost::json::array installed_as_json(const change::InstalledList& list);  // {box, name, version, sha256 where known}

}  // namespace fettle::plan
