// What is known of a job's fault memory, as text and as JSON.
#pragma once

#include <boost/json/array.hpp>
#include <string>

#include "fettle/prove/faults.h"
#include "fettle/show/answer.h"
#include "fettle/workshop/read_faults.h"

namespace fettle::show {

boost::json::array faults_as_json(const prove::Faults& faults);
std::string faults_as_text(const prove::Faults& faults);

Answer faults_kept(const workshop::FaultsKept& kept);  // as they were typed

}  // namespace fettle::show
