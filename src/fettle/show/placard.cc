#include "fettle/show/placard.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {

Answer placard_written(const workshop::PlacardFor& placard, const std::string& file) {
    const ready::PlacardFacts& facts = placard.facts;
    const bool timed = !facts.done_late.empty();
    Answer a;
    a.verdict_matters = false;
    a.level = placard.level;
    a.headline = fmt::format("Placard written: {}.", printable(file));
    if (!placard.run_open)
        a.text = "  No run is open: write the time of the start on it, or print it again after the start.\n";
    else if (timed)
        a.text = fmt::format("  until {} (nine in ten), {} (half)\n", facts.done_late, facts.done_early);
    else
        a.text = "  Until when can't be said: the step script is not known.\n";
    a.data = {{"file", file},
              {"done_early", timed ? facts.done_early : "not known"},
              {"done_late", timed ? facts.done_late : "not known"},
              {"keep", texts_as_json(facts.keep)}};
    return a;
}

}  // namespace fettle::show
