// A job that is stayed with: as long as nothing was written into its journal a look costs one small query, and then
// only what came is read, checked and folded. An earlier entry that is edited meanwhile is found by whoever reads the
// whole journal, not here.
#pragma once

#include <sys/types.h>

#include <optional>
#include <string>

#include "fettle/book/job.h"
#include "fettle/book/tail.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

class LiveJob {
public:
    // `job`: as it was loaded. The shop must outlive this.
    LiveJob(const Workshop& shop, book::Job job);

    const book::Job& job() const { return job_; }
    // True: it has changed since the last look; the first one reads the whole journal and is always true. Errors are
    // load_job's; the job stays what it was, and the next look tries again.
    Result<bool> look();

private:
    Status book_at_hand();
    Result<bool> whole();

    const Workshop& shop_;
    book::Job job_;
    std::optional<book::JournalTail> book_;
    dev_t device_ = 0;  // of the file that book_ has open: another may be put in its place
    ino_t file_ = 0;
    std::optional<book::Head> head_;  // that job_ was folded to
};

}  // namespace fettle::workshop
