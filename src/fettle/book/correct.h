// Correcting entries: how one changes the data of an earlier entry before anything is folded.
#pragma once

#include <boost/json/fwd.hpp>
#include <boost/json/value.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/book/job.h"

namespace fettle::book {

// An entry with its data read.
struct ReadEntry {
    Entry entry;
    boost::json::object data;
};

// bad_input "entry-malformed" names the entry whose data is no JSON object.
Result<std::vector<ReadEntry>> read_entries(const std::vector<Entry>& entries);

// Sets the member `field` ("complaint", "plates.main", "boxes.0") to `value`, or removes it when that is null; false
// when a part of the way is not there. `before` receives what stood there, as text; empty when nothing did.
bool set_member(boost::json::object& data, std::string_view field, const boost::json::value& value,
                std::string& before);

// Applies every correcting entry to the entry it names, the latest word on a field last; a correction of a correction
// works alike. Only earlier entries can be corrected. One that names no such entry or member changes nothing and is
// listed with empty `before` and `after`.
std::vector<Correction> apply_corrections(std::vector<ReadEntry>& entries);

}  // namespace fettle::book
