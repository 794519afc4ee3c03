// What was read over the link, as a page and as JSON.
#pragma once

#include <boost/json/object.hpp>
#include <optional>
#include <string>
#include <vector>

#include "fettle/show/answer.h"
#include "fettle/workshop/clear_faults.h"
#include "fettle/workshop/read_faults.h"
#include "fettle/workshop/read_link.h"

namespace fettle::show {

Answer boxes_found(const workshop::BoxesFound& found);
Answer boxes_read(const workshop::BoxesRead& read);
Answer memory_read(const workshop::MemoryRead& read);
Answer faults_cleared(const workshop::FaultsCleared& cleared, const std::string& allowed_by);

boost::json::object inventory_as_json(const link::Inventory& inventory);
boost::json::object memories_as_json(const std::vector<link::BoxFaults>& faults);

// "Recorded in FILE." or that it is not whole; empty when nothing is recorded.
std::string recording_line(const std::optional<workshop::Recording>& recording);

}  // namespace fettle::show
