#include "fettle/show/touch.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

json::object need_json(const ready::TouchNeed& n) {
    return {{"number", n.number},
            {"area", n.area},
            {"key", n.key},
            {"wanted_by", n.wanted_by},
            {"state", n.state.empty() ? "not-tried" : n.state},
            {"placed", n.placed},
            {"from", {n.cells.left, n.cells.top}},
            {"to", {n.cells.right, n.cells.bottom}}};
}

json::object screen_json(const ready::TouchTest& t) {
    return {{"box", t.box},
            {"columns", t.columns},
            {"rows", t.rows},
            {"by_words", t.by_words},
            {"needs", list_as_json(t.needs, need_json)}};
}

std::string headline(const workshop::Touched& touched, int dead, int open) {
    if (!touched.script_known) return "Can't say which areas of a screen will be asked for.";
    if (touched.screens.empty()) return "Nothing on a screen need be touched in this family's script.";
    if (dead > 0) return fmt::format("{} of the areas that will be asked for {} dead.", dead, dead == 1 ? "is" : "are");
    if (open > 0) return fmt::format("{} {} still to try: touch it now.", open, open == 1 ? "area is" : "areas are");
    return "Every area that will be asked for answers.";
}

}  // namespace

std::string touch_page(const ready::TouchTest& screen, bool ascii) {
    return fmt::format("{}\n{}\n", screen.words, join(ready::draw(screen, ascii), "\n"));
}

Answer touched(const workshop::Touched& touched, bool ascii) {
    int open = 0, dead = 0;
    Answer a;
    for (const ready::TouchTest& t : touched.screens) {
        a.text += touch_page(t, ascii);
        for (const ready::TouchNeed& n : t.needs) {
            open += n.state.empty();
            dead += n.state == "dead";
        }
    }
    if (dead > 0) {
        a.text += "Whether there is another way in is said by: ";
        a.text += propose(Act::check_ready, {job(touched.job)});
        a.text += "\n";
    }
    a.level = touched.level;
    a.headline = headline(touched, dead, open);
    a.judgement = touched.judgement;
    a.reasons_in_text = touched.script_known;
    a.data["screens"] = list_as_json(touched.screens, screen_json);
    return a;
}

}  // namespace fettle::show
