// The bench book as somebody reads it: every job in one line, or one job as its entries add up. Looks on a broken
// record too, and says where it breaks.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ListedJob {
    std::string number;
    std::optional<book::Break> broken;
    bool readable = false;  // the record is whole and adds up; only then the rest is said
    UnixMs opened = 0;
    std::string customer, complaint;
    std::size_t open_ends = 0;
    bool run_open = false, handed_over = false;
};
struct JobList {
    std::string no_book_in;       // the home that has no bench book yet; empty: it has one
    std::vector<ListedJob> jobs;  // oldest first
};
Result<JobList> list_jobs(const Workshop& shop);

struct ShownJob {
    JobRecord record;
    std::optional<book::Job> job;  // absent: the record is broken, and its entries do not add up any more
    std::string why_not;           // then
    Judgement judgement;           // of the record, and of what is open
};
Result<ShownJob> show_job(const Workshop& shop, const std::string& number);

}  // namespace fettle::workshop
