// What is installed after the run, as somebody typed it: a list of pieces, the release that the box shows, or both.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/workshop/read_list.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct AfterRequest {
    std::string job;
    std::optional<ListText> list;  // one line a piece: box, name, version
    std::string release;           // that the box shows; without a list the pieces are inferred from its index
    std::optional<std::vector<std::string>> history{};  // releases that it shows as installed in it, oldest first
    bool withdraw = false;                              // the list that was said goes; the release that was said stays
};

struct AsLeft {
    change::InstalledList list;
    std::string release;
    std::optional<std::vector<std::string>> history;
    Judgement judgement;
};
// usage "as-left-missing" when nothing was said, or a list beside its withdrawal. A list that somebody saw earlier
// stays when only a release is said now.
Result<AsLeft> keep_as_left(const Workshop& shop, const AfterRequest& request);

}  // namespace fettle::workshop
