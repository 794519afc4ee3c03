// Where something listens on this machine, and for how long.
#pragma once

#include <string>

#include "fettle/base/result.h"
#include "fettle/link/address.h"

namespace fettle::workshop {

// "127.0.0.1:0": port 0, any free one. Errors of link::parse_endpoint.
Result<link::Endpoint> listen_at(const std::string& typed);

// usage "bad-stay" beyond a week.
Status check_stay(double stay_s);

}  // namespace fettle::workshop
