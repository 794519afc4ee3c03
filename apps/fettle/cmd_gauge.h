// fettle card gauge: is a card as large as it says, and does it keep what is written?
#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

struct CardGaugeOptions {
    std::string device;     // DEVICE
    std::string family;     // --family ID: by what its boxes take
    std::string yes_erase;  // --yes-erase SERIAL
    std::string whose;      // --whose shop|owner
    std::string practice;   // --practice "size 32G wraps 8G": a made-up card
    bool keep = false;      // --keep: what is overwritten is saved and put back
    bool again = false;     // --again: the card was pulled and put back
    bool restore = false;   // --restore: put back what an interrupted --keep had saved
};
Result<Answer> card_gauge(Context& context, const CardGaugeOptions& options);

}  // namespace fettle::app
