// Is a card as large as it says, and does it keep what is written? The gauge writes marks all over it, and reads them
// back; once more after the card was pulled and put back in.
#pragma once

#include <functional>
#include <string>

#include "fettle/card/gauge.h"
#include "fettle/workshop/card_device.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct GaugeRequest {
    std::string device;
    std::string family;              // by what its boxes take; empty: not said
    bool again = false;              // it was pulled and put back: read the marks of the last gauging once more
    EraseConsent consent;            // to lose what is on it
    std::function<bool()> put_back;  // asks a person to pull the card and put it back now; true when that is done
    std::string job;                 // it is gauged for; empty: for none
};

struct GaugedCard {
    card::Gauged gauged;
    card::FoundDevice device;
    std::vector<std::string> was_on_it;
    std::string marked_at;  // when the marks were written, if that was an earlier gauging
    Judgement judgement;
};

// Errors as agree_to_erase() and card::open_to_erase(); usage "gauge-owners-card" for a card that the job holds for the
// owner, "gauge-not-begun" for `again` without a gauging; bad_input "gauge-other-card".
Result<GaugedCard> gauge_card(const Workshop& shop, const GaugeRequest& request);

}  // namespace fettle::workshop
