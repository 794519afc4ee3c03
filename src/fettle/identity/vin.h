// Vehicle identification numbers: the character rule of ISO 3779 and the check digit of 49 CFR 565. Says what the digit
// is worth; knows nothing of makers and looks nothing up.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fettle/base/verdict.h"

namespace fettle::identity {

struct VinAnswer {
    std::string typed;         // trimmed
    std::string vin;           // upper case; with the suggested characters if that gives a well-formed number
    bool well_formed = false;  // 17 characters of the ISO 3779 set, as typed (case apart)
    std::string suggestion;    // I, O, Q replaced by 1, 0, 0; empty when there is nothing to replace
    // For a well-formed VIN (or the suggestion):
    int weighted_sum = 0;
    int remainder = 0;
    char expected = 0;  // "0"-"9" or "X"; 0 when it cannot be computed
    char position9 = 0;
    bool check_matches = false;
    Judgement judgement;  // fit; mind: corrected, or the check digit fails; halt: cannot be a VIN
};

// rule_applies: the vehicle was made for a market of 49 CFR 565 (then a failed digit asks for the number to be read
// again: can't say); elsewhere, or not known, it is only mind.
VinAnswer check_vin(std::string_view typed, std::optional<bool> rule_applies = std::nullopt);

}  // namespace fettle::identity
