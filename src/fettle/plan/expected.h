// What a run is held against, kept in the journal when it starts: change sheet, forecast and power-cut map as they were
// then. So watch and mark need no plan made again, and nothing that changes on the shelf changes a run under way.
#pragma once

#include <boost/json/object.hpp>
#include <string>

#include "fettle/base/result.h"
#include "fettle/plan/plan.h"

namespace fettle::plan {

struct Expected {
    change::ChangeSheet sheet;
    forecast::Forecast forecast;  // without its draws
    cutmap::CutMap map;           // moments only
};

boost::json::object expected_as_json(const PlanStep& step);
// bad_input "expected-malformed" when the text is not what expected_as_json makes.
Result<Expected> expected_from(const std::string& text);

}  // namespace fettle::plan
