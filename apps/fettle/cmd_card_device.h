// fettle card devices, and card lay onto a real card.
#pragma once

#include <string>

#include "cmd_card.h"

namespace fettle::app {

struct CardDevicesOptions {
    std::string family;  // --family ID: by what its boxes take
    bool all = false;    // --all: also what is no card
};
Result<Answer> card_devices(Context& context, const CardDevicesOptions& options);

Result<Answer> card_lay_device(Context& context, const CardLayOptions& options);

}  // namespace fettle::app
