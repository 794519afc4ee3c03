// From "so many seconds into this act" to the moments of the power-cut map, and from there to one clause.
#pragma once

#include <string>
#include <vector>

#include "fettle/watch/tracker.h"

namespace fettle::watch {

enum class Ground { firm, no_net, no_way_back, not_known };  // what a power cut there would leave

// The outcomes of a position: act and share of it that is over, in [0, 1]. Empty when the map does not have the act.
class Positions {
public:
    explicit Positions(const Step& step);
    // The moment under the head; nullptr when the map does not have the act.
    const cutmap::Moment* moment(const std::string& act, double share) const;
    cutmap::Outcomes over_acts(const std::vector<std::string>& acts) const;
    // What a cut would leave along an act's time, in equal pieces of it; nullptr when the map does not have the act.
    const std::vector<Ground>* grounds(const std::string& act) const;

private:
    struct ActMoments {
        std::string act;
        std::vector<const cutmap::Moment*> cells;  // in order of cell; one for acts that write nothing
        std::vector<double> until;                 // share of the act's time at which each cell is done
        std::vector<Ground> grounds;
        const cutmap::Moment* at(double share) const;
    };
    const ActMoments* of(const std::string& act) const;
    std::vector<ActMoments> acts_;
};

// "the same card takes it up"; several: "… or …", best first.
std::string power_words(const cutmap::Outcomes& outcomes);

}  // namespace fettle::watch
