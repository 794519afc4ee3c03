#include "fettle/workshop/listen_at.h"

#include <fmt/core.h>

namespace fettle::workshop {

Result<link::Endpoint> listen_at(const std::string& typed) {
    const auto colon = typed.rfind(':');
    const bool any_port = colon != std::string::npos && typed.substr(colon) == ":0";
    auto at = link::parse_endpoint(any_port ? typed.substr(0, colon) : typed);
    if (at && any_port) at->port = 0;
    return at;
}

Status check_stay(double stay_s) {
    if (stay_s >= 0 && stay_s <= 7 * 86400) return {};
    return usage_error("bad-stay", fmt::format("{}", stay_s), "it is not between 0 and a week",
                       Next{"write e.g. ", with(given("stay", "60"))});
}

}  // namespace fettle::workshop
