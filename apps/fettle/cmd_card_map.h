// fettle card map: what stands where on a card, as a strip.
#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

struct CardMapOptions {
    std::string card;    // IMAGE or DEVICE
    std::string svg;     // --svg FILE
    bool ascii = false;  // --ascii
};
Result<Answer> card_map(Context& context, const CardMapOptions& options);

}  // namespace fettle::app
