// fettle card gauge: is a card as large as it says, and does it keep what is written?
#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

struct CardGaugeOptions {
    std::string device;     // DEVICE
    std::string family;     // --family ID: by what its boxes take
    std::string yes_erase;  // --yes-erase SERIAL
    bool again = false;     // --again: the card was pulled and put back
};
Result<Answer> card_gauge(Context& context, const CardGaugeOptions& options);

}  // namespace fettle::app
