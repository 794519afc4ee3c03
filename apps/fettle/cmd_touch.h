// fettle ready touch J [AREA=answers|dead]…: the box's screen as a grid with the areas that the script will ask for.
#pragma once

#include "context.h"
#include "fettle/workshop/touch_screens.h"

namespace fettle::app {

struct ReadyTouchOptions {
    workshop::TouchRequest ask;
    bool ascii = false;
};
// On a terminal with nothing said it asks for each area in turn.
Result<Answer> ready_touch(Context& context, const ReadyTouchOptions& options);

}  // namespace fettle::app
