// A job as a page to read: asked, found, done, left, open ends. Only says what the fold says.
#pragma once

#include <boost/json/object.hpp>
#include <string>
#include <vector>

#include "fettle/book/job.h"
#include "fettle/book/journal.h"

namespace fettle::app {

std::string job_page(const book::Job& job);
boost::json::object job_json(const book::Job& job);

// The journal one line an entry: number, time, type, data, first digits of the digest.
std::string journal_lines(const std::vector<book::Entry>& entries);

std::string loose_end_line(const book::LooseEnd& end);
boost::json::object loose_end_json(const book::LooseEnd& end);

}  // namespace fettle::app
