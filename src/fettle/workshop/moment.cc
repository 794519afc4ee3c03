#include "fettle/workshop/moment.h"

#include <algorithm>

namespace fettle::workshop {

std::string_view code(Moment moment) {
    switch (moment) {
        case Moment::before: return "before";
        case Moment::after: return "after";
        case Moment::cleared: return "cleared";
    }
    return {};
}

std::optional<Moment> moment_named(std::string_view word) {
    for (const Moment m : {Moment::before, Moment::after, Moment::cleared})
        if (word == code(m)) return m;
    return std::nullopt;
}

Moment moment_now(const book::Job& job) {
    if (job.runs.empty()) return Moment::before;
    const bool cleared = std::any_of(job.clearings.begin(), job.clearings.end(),
                                     [&](const book::Clearing& c) { return c.run == job.runs.size(); });
    return cleared ? Moment::cleared : Moment::after;
}

Status check_moment(Moment moment, const book::Job& job) {
    if (moment != Moment::before || job.runs.empty()) return {};
    return usage_error("when-past", with(flag("when")), "a run was begun, so what is read now is not from before it",
                       Next{"leave ", with(flag("when")), " out, or write ", with(given("when", "after"))});
}

}  // namespace fettle::workshop
