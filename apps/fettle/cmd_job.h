// fettle job open, list, order, show, note, keep, return, consent, loose-ends: the bench book.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/workshop/keep_thing.h"
#include "fettle/workshop/note_job.h"
#include "fettle/workshop/order_jobs.h"
#include "fettle/workshop/take_in.h"

namespace fettle::app {

struct JobOpenOptions {
    workshop::TakeInRequest ask;
    std::vector<std::string> keep;  // "slot: words" or "slot: words #tag"
};
Result<Answer> job_open(const Context& context, const JobOpenOptions& options);

Result<Answer> job_list(const Context& context);

Result<Answer> job_order(const Context& context, const workshop::OrderRequest& request);

struct JobShowOptions {
    std::string job;
    bool entries = false;  // the journal's entries one by one, too
};
Result<Answer> job_show(const Context& context, const JobShowOptions& options);

struct JobNoteOptions {
    std::string job, text, by;
    std::optional<std::int64_t> correct;  // number of the entry to put right; then field, value, why and by are needed
    std::string field, value, why;
};
Result<Answer> job_note(const Context& context, const JobNoteOptions& options);

struct JobKeepOptions {
    std::string job;
    std::vector<std::string> things;  // "slot: words" or "slot: words #tag"
};
Result<Answer> job_keep(const Context& context, const JobKeepOptions& options);
Result<Answer> job_return(const Context& context, const workshop::ReturnRequest& request);
Result<Answer> job_consent(const Context& context, const workshop::ConsentRequest& request);

struct JobLooseEndsOptions {
    std::string job;
    std::string settle, how;   // --settle ID --how TEXT --by NAME
    std::string sign, reason;  // --sign ID --by NAME --reason TEXT
    std::string by;
};
Result<Answer> job_loose_ends(const Context& context, const JobLooseEndsOptions& options);

}  // namespace fettle::app
