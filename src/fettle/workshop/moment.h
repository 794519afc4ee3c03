// When a box was read: a reading counts for what the job is at that moment.
#pragma once

#include <optional>
#include <string_view>

#include "fettle/base/result.h"
#include "fettle/book/job.h"

namespace fettle::workshop {

// Before the first run of the job, after its last one, or after entries were cleared.
enum class Moment { before, after, cleared };
std::string_view code(Moment moment);  // as the journal has it: "before", "after", "cleared"
std::optional<Moment> moment_named(std::string_view word);

// What a reading now is, when nobody says it.
Moment moment_now(const book::Job& job);
// usage "when-past": once a run was begun, nothing that is read is from before it.
Status check_moment(Moment moment, const book::Job& job);

}  // namespace fettle::workshop
