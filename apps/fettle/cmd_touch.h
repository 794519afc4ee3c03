// fettle ready touch J [AREA=answers|dead]…: the box's screen as a grid with the areas that the script will ask for.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct ReadyTouchOptions {
    std::string job;
    std::vector<std::string>
        said;  // "lower right=answers", "touch.lower-right=dead", "1=dead" (its number on the grid)
    bool ascii = false;
};
// Draws what is known and keeps what was said; on a terminal with nothing said it asks for each area in turn.
Result<Answer> ready_touch(Context& context, const ReadyTouchOptions& options);

}  // namespace fettle::app
