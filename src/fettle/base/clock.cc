#include "fettle/base/clock.h"

#include <fmt/core.h>

#include <chrono>
#include <cmath>
#include <cstdio>

namespace fettle {

UnixMs SystemClock::now() const {
    using namespace std::chrono;
    return duration_cast<milliseconds>(system_clock::now().time_since_epoch()).count();
}

std::string iso8601(UnixMs t) {
    using namespace std::chrono;
    const sys_time<milliseconds> tp{milliseconds(t)};
    const auto day = floor<days>(tp);
    const year_month_day ymd{day};
    const hh_mm_ss<milliseconds> hms{tp - day};
    return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:03}+00:00", static_cast<int>(ymd.year()),
                       static_cast<unsigned>(ymd.month()), static_cast<unsigned>(ymd.day()), hms.hours().count(),
                       hms.minutes().count(), hms.seconds().count(), hms.subseconds().count());
}

std::optional<UnixMs> parse_iso8601(std::string_view text) {
    const std::string s(text);
    int y = 0, mo = 0, d = 0, h = 0, mi = 0, sec = 0, used = 0;
    if (std::sscanf(s.c_str(), "%4d-%2d-%2dT%2d:%2d:%2d%n", &y, &mo, &d, &h, &mi, &sec, &used) != 6)
        return std::nullopt;
    std::string_view rest = std::string_view(s).substr(static_cast<std::size_t>(used));
    int ms = 0;
    if (rest.size() >= 4 && rest[0] == '.') {
        for (std::size_t i = 1; i < 4; ++i) {
            if (rest[i] < '0' || rest[i] > '9') return std::nullopt;
            ms = 10 * ms + (rest[i] - '0');
        }
        rest.remove_prefix(4);
    }
    int offset_min = 0;
    if (rest.size() == 6 && (rest[0] == '+' || rest[0] == '-') && rest[3] == ':') {
        for (const std::size_t i : {1u, 2u, 4u, 5u})
            if (rest[i] < '0' || rest[i] > '9') return std::nullopt;
        offset_min = 60 * (10 * (rest[1] - '0') + rest[2] - '0') + 10 * (rest[4] - '0') + rest[5] - '0';
        if (rest[0] == '-') offset_min = -offset_min;
    } else if (rest != "Z") {
        return std::nullopt;
    }
    using namespace std::chrono;
    const year_month_day ymd{year(y), month(static_cast<unsigned>(mo)), day(static_cast<unsigned>(d))};
    if (!ymd.ok() || h < 0 || h > 23 || mi < 0 || mi > 59 || sec < 0 || sec > 59) return std::nullopt;
    const auto tp = sys_days(ymd) + hours(h) + minutes(mi - offset_min) + seconds(sec) + milliseconds(ms);
    return duration_cast<milliseconds>(tp.time_since_epoch()).count();
}

std::string human_duration(double seconds) {
    const auto s = static_cast<long long>(std::llround(seconds));
    if (s < 120) return fmt::format("{} s", s);
    const long long min = std::llround(seconds / 60);
    if (min < 60) return fmt::format("{} min", min);
    return fmt::format("{} h {:02} min", min / 60, min % 60);
}

}  // namespace fettle
