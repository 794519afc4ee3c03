// A job for programs.
#pragma once

#include <boost/json/object.hpp>

#include "fettle/book/job.h"

namespace fettle::show {

boost::json::object job_as_json(const book::Job& job);
boost::json::object loose_end_as_json(const book::LooseEnd& end);

}  // namespace fettle::show
