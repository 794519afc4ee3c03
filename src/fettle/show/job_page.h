// A job as a page to read: asked, found, done, left, open ends. Only says what the fold says.
#pragma once

#include <string>
#include <vector>

#include "fettle/book/job.h"
#include "fettle/book/journal.h"

namespace fettle::show {

std::string job_page(const book::Job& job);
std::string loose_end_line(const book::LooseEnd& end);

// The journal one line an entry: number, time, type, data, first digits of the digest. Of long data the beginning.
std::string journal_lines(const std::vector<book::Entry>& entries);

}  // namespace fettle::show
