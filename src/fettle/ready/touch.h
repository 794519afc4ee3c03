// The touch test: the box's screen as a grid of cells with the areas that the script will ask for, for a person to
// touch each and say "answers" or "dead". Drawn in text of any terminal; the same cells serve the page.
#pragma once

#include <string>
#include <vector>

#include "fettle/ready/ready.h"

namespace fettle::ready {

struct TouchNeed {
    int number = 0;           // as drawn, from 1
    std::string area, key;    // "lower right", "touch.lower-right"
    std::string wanted_by;    // "asks for a touch (\"Touch OK\")"; several joined
    std::string state;        // "answers", "dead" or "" (not tried)
    family::TouchArea cells;  // of the grid
    bool placed = true;       // false: nothing says where it is; listed below the grid
};

struct TouchTest {
    std::string box, words;  // role, "display box"
    int columns = 0, rows = 0;
    bool by_words = false;  // no [[screen]] in the file: placed on a grid of 3 by 3 by the area's words
    std::vector<TouchNeed> needs;
};

// One for each box that any later ask wants touched; empty when none does.
std::vector<TouchTest> touch_tests(const family::Family& family, const Told& told);

// The grid, at most 80 columns: each cell carries the numbers of the needs that cover it, "?" not tried, "+" answers,
// "x" dead. Lines below say what is needed where.
std::vector<std::string> draw(const TouchTest& test, bool ascii);

}  // namespace fettle::ready
