// Where readings of a supply come from, by what a person types after --supply: an address of a bench supply, a file
// that grows or was recorded, a named pipe, or "-" for standard input. ready reads once, watch takes along; neither
// knows which it is.
#pragma once

#include <memory>
#include <string_view>

#include "fettle/base/supply_sample.h"

namespace fettle::link {

// "scpi://HOST[:5025]", "words://HOST:PORT/V?,I?" (link/scpi.h), "file:PATH" or PATH, "-". `origin`: what seconds in a
// file count from (the run's start). The clock must outlive the source. Errors: usage bad-supply-address; bad_input
// samples-not-readable when a file cannot be opened or is a folder. A bench supply that is not there is no error here:
// take() says it, and takes it when it comes.
Result<std::unique_ptr<SupplySource>> open_supply(std::string_view text, const Clock& clock, UnixMs origin);

// Is it an address of a bench supply (and not a file)?
bool is_supply_address(std::string_view text);

}  // namespace fettle::link
