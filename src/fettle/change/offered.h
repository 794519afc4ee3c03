// The list that a box offers before the start, held against what the change sheet expects it to offer.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/change/change.h"

namespace fettle::change {

struct Offered {
    std::string box, name, version;  // box and version empty where the list does not say them
    int line = 0;
};

// One line a piece: "name", "name version", "box name", or "box name version"; '#' comments. bad_input names the line.
Result<std::vector<Offered>> parse_offered(const family::Family& family, std::string_view text, std::string_view place);

struct OfferedAnswer {
    int listed = 0, expected = 0;
    std::vector<std::string>
        surprises;        // each in words: what is listed and not expected, missing, or of another version
    Judgement judgement;  // "offered-as-expected" fit, or "offered-surprise" halt
};

// Expected: what the box counts by the family's own classes, so the sheet's total.
OfferedAnswer compare_offered(const family::Family& family, const family::Release& release, const ChangeSheet& sheet,
                              const std::vector<Offered>& offered);

}  // namespace fettle::change
