// Conservation of the tally: what must hold between any two readings of one run.
#include <fmt/format.h>

#include "fettle/change/change.h"

namespace fettle::change {
namespace {

std::optional<int> sum(const TallyReading& r) {
    if (!r.landed || !r.passed_over || !r.refused || !r.to_come) return std::nullopt;
    return *r.landed + *r.passed_over + *r.refused + *r.to_come;
}

// The rule that `now` breaks, given the last figure seen of each class; empty when none.
std::string broken(const family::Tally& rules, const ExpectedTally& expected, const TallyReading& seen,
                   const TallyReading& now) {
    const auto fell = [](const std::optional<int>& a, const std::optional<int>& b) { return a && b && *b < *a; };
    if (fell(seen.landed, now.landed)) return fmt::format("landed fell from {} to {}", *seen.landed, *now.landed);
    if (fell(seen.passed_over, now.passed_over)) {
        return fmt::format("passed over fell from {} to {}", *seen.passed_over, *now.passed_over);
    }
    if (fell(seen.refused, now.refused)) return fmt::format("refused fell from {} to {}", *seen.refused, *now.refused);
    const bool may_grow = rules.total_may_grow_after_restart && now.after_restart;
    if (fell(now.to_come, seen.to_come) && !rules.to_come_may_rise && !may_grow) {
        return fmt::format("to come rose from {} to {}", *seen.to_come, *now.to_come);
    }
    const auto total = sum(now);
    if (total && now.total && *total != *now.total) {
        return fmt::format("the classes sum to {}, the box shows {} in all", *total, *now.total);
    }
    if (total && *total != expected.total && !rules.total_may_grow_after_restart) {
        return fmt::format("the classes sum to {}, {} pieces are expected", *total, expected.total);
    }
    if (seen.total && now.total && *seen.total != *now.total && !(may_grow && *now.total > *seen.total)) {
        return fmt::format("the total went from {} to {}", *seen.total, *now.total);
    }
    return {};
}

}  // namespace

Judgement conservation(const family::Family& family, const ExpectedTally& expected,
                       const std::vector<TallyReading>& readings) {
    Judgement j;
    const family::Tally rules = family.tally.value_or(family::Tally{});
    TallyReading seen;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const TallyReading& now = readings[i];
        const std::string why = broken(rules, expected, seen, now);
        if (!why.empty()) {
            j.add({"tally-broken", Verdict::cant_say,
                   why + ": read the tally again; if it stands, pieces went another way than planned",
                   fmt::format("reading {}", i + 1), "the box's own counts"});
            return j;
        }
        if (now.landed) seen.landed = now.landed;
        if (now.passed_over) seen.passed_over = now.passed_over;
        if (now.refused) seen.refused = now.refused;
        if (now.to_come) seen.to_come = now.to_come;
        if (now.total) seen.total = now.total;
    }
    return j;
}

}  // namespace fettle::change
