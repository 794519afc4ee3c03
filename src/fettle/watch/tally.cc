// What the box counts must add up. Pieces that have landed stay landed, the classes make up what the step offers, and
// nothing is added to what is to come unless the family says so. A count that breaks this was misread, or the box does
// something else than the plan says.
#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {
namespace {

using Class = std::optional<int> TallyReading::*;
struct Named {
    const char* name;
    Class member;
};
constexpr Named kClasses[] = {{"landed", &TallyReading::landed},
                              {"passed_over", &TallyReading::passed_over},
                              {"refused", &TallyReading::refused},
                              {"to_come", &TallyReading::to_come}};

std::optional<int> sum(const TallyReading& r) {
    int total = 0;
    for (const Named& c : kClasses) {
        if (!(r.*c.member)) return std::nullopt;
        total += *(r.*c.member);
    }
    return total;
}

}  // namespace

std::optional<TallyBreak> check_tally(const family::Family& family, const change::ExpectedTally& expected,
                                      const std::vector<TallyReading>& readings) {
    const bool may_rise = family.tally && family.tally->to_come_may_rise;
    const bool may_grow = family.tally && family.tally->total_may_grow_after_restart;
    std::optional<int> landed, to_come;
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const TallyReading& r = readings[i];
        if (r.landed && landed && *r.landed < *landed)
            return TallyBreak{i, fmt::format("landed fell from {} to {}", *landed, *r.landed)};
        if (!may_rise && r.to_come && to_come && *r.to_come > *to_come)
            return TallyBreak{i, fmt::format("to come rose from {} to {}", *to_come, *r.to_come)};
        if (const auto total = sum(r); total && expected.total > 0) {
            const bool wrong = may_grow ? *total < expected.total : *total != expected.total;
            if (wrong)
                return TallyBreak{i,
                                  fmt::format("the classes add up to {}, the step offers {}", *total, expected.total)};
        }
        if (r.landed) landed = r.landed;
        if (r.to_come) to_come = r.to_come;
    }
    return std::nullopt;
}

Result<TallyReading> parse_tally(std::string_view text, UnixMs at) {
    TallyReading out;
    out.at = at;
    const auto wrong = [&](const std::string& part, const char* problem) {
        return usage_error("tally-unreadable", printable(part), problem,
                           "say it like landed=12,passed_over=26,refused=0,to_come=2; leave out what is not shown");
    };
    for (const std::string& part : split(text, ',')) {
        const auto eq = part.find('=');
        if (eq == std::string::npos) return wrong(part, "no class=number");
        const std::string_view name = trim(std::string_view(part).substr(0, eq));
        const std::string_view number = trim(std::string_view(part).substr(eq + 1));
        const auto* c =
            std::find_if(std::begin(kClasses), std::end(kClasses), [&](const Named& n) { return name == n.name; });
        if (c == std::end(kClasses)) return wrong(part, "not one of landed, passed_over, refused, to_come");
        const auto value = number_in<int>(number);
        if (!value || *value < 0) return wrong(part, "not a count");
        if (out.*c->member) return wrong(part, "said twice");
        out.*c->member = *value;
    }
    return out;
}

}  // namespace fettle::watch
