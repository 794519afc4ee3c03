#include "fettle/base/time_of_day.h"

#include <fmt/format.h>

#include <ctime>

namespace fettle {

std::string time_of_day(UnixMs t) {
    const std::time_t s = static_cast<std::time_t>(t / 1000);
    std::tm local{};
    ::localtime_r(&s, &local);
    return fmt::format("{:02}:{:02}", local.tm_hour, local.tm_min);
}

}  // namespace fettle
