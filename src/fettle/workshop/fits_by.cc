#include "fettle/workshop/fits_by.h"

#include <ctime>

#include "fettle/base/text.h"
#include "fettle/forecast/within.h"

namespace fettle::workshop {

std::vector<FitsBy> fits_by(const plan::Plan& plan, const family::Family& family, double seconds_s) {
    std::vector<FitsBy> out;
    std::vector<forecast::Forecast> so_far;
    for (const plan::PlanStep& s : plan.steps) {
        so_far.push_back(s.forecast);
        const double settling_s = family.settle_s * static_cast<double>(so_far.size());
        out.push_back(
            {s.release.release, forecast::chance_within(so_far, plan::usual_handling(), settling_s, seconds_s)});
    }
    return out;
}

Result<UnixMs> time_ahead(std::string_view text, UnixMs now) {
    constexpr UnixMs kMost = 30LL * 86'400'000;
    std::optional<UnixMs> at = parse_iso8601(text);
    const auto parts = split(std::string(text), ':');
    if (!at && parts.size() == 2) {
        const auto hour = number_in<int>(parts[0]), minute = number_in<int>(parts[1]);
        if (hour && minute && *hour >= 0 && *hour < 24 && *minute >= 0 && *minute < 60 && parts[1].size() == 2) {
            const std::time_t s = static_cast<std::time_t>(now / 1000);
            std::tm local{};
            ::localtime_r(&s, &local);
            local.tm_hour = *hour;
            local.tm_min = *minute;
            local.tm_sec = 0;
            local.tm_isdst = -1;
            at = static_cast<UnixMs>(std::mktime(&local)) * 1000;
            if (*at <= now) {
                ++local.tm_mday;
                local.tm_isdst = -1;
                at = static_cast<UnixMs>(std::mktime(&local)) * 1000;
            }
        }
    }
    if (at && *at > now && *at - now <= kMost) return *at;
    return usage_error("by-unreadable", printable(text), at ? "is not within the next 30 days" : "is no time of day",
                       "say 16:00, or 2026-11-25T16:00:00+01:00");
}

}  // namespace fettle::workshop
