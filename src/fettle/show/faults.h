// What is known of a job's fault memory, as text and as JSON.
#pragma once

#include <boost/json/array.hpp>
#include <string>

#include "fettle/prove/faults.h"

namespace fettle::show {

boost::json::array faults_as_json(const prove::Faults& faults);
std::string faults_as_text(const prove::Faults& faults);

}  // namespace fettle::show
