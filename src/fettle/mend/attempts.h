// Which attempts may be made from what remains, and what each could lead to. Internal to this room.
#pragma once

#include <set>
#include <vector>

#include "fettle/mend/places.h"

namespace fettle::mend {

// A moment that remains possible, and the outcomes of it that what the box does now leaves.
struct Remaining {
    std::size_t moment = 0;
    double weight = 0;
    cutmap::Outcomes outcomes;
};

struct Case {
    const Question& q;
    const Weighed& weighed;
    std::vector<Remaining> remaining;  // weights add up to 1; empty: nothing on the map fits
    std::vector<Remaining> possible;   // these and those that have no weight, but could be (Weighed::possible)
    bool by_map = true;                // false: the boot order is not known, so the map says nothing
    bool supply_failed = false;        // power went, and nobody says that the supply holds now
};

void offer_attempts(const Case& c, Answer& answer);
void offer_hand_over(const Case& c, Answer& answer);  // only that

// Outcomes from which a person can go on here.
bool can_go_on(cutmap::Outcome o);

}  // namespace fettle::mend
