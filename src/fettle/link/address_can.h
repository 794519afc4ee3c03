// Inside the link room: the CAN half of address.h. `text` begins with "can://".
#pragma once

#include "fettle/link/address.h"

namespace fettle::link {

Result<BoxAddress> parse_can_address(std::string_view text);
std::string can_text(const BoxAddress& a);

}  // namespace fettle::link
