// The run strip, the one picture of a run: paper that runs from left to right through the moment "now". Left of it what
// happened, right of it what is expected. Height is supply current; hatched is where there is no way back; a gap is
// where the screen is dark; a hand stands where hands are needed. Text for a terminal and SVG for paper; the same
// numbers in both. Never shows a percentage, a list of pieces or a counter.
#pragma once

#include <string>
#include <vector>

#include "fettle/watch/cusum.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

// The measured current on the run's axis, from what was observed.
std::vector<SeriesPoint> strip_samples(const Observed& seen);

struct StripStyle {
    int width = 80;        // columns, at least 48
    bool ascii = false;    // no character beyond ASCII
    bool sentence = true;  // the sentence above; false where it is said elsewhere
};

// Lines of at most `width` columns (each character one column wide), without line ends: sentence, picture, axis,
// "If power went now: …".
std::vector<std::string> strip(const Step& step, const Observed& seen, const Where& where, UnixMs now,
                               const std::vector<SeriesPoint>& samples = {}, const StripStyle& style = {});

// The same as one self-contained SVG element, black on white, readable in grey; no scripts, no fonts to fetch.
std::string strip_svg(const Step& step, const Observed& seen, const Where& where, UnixMs now,
                      const std::vector<SeriesPoint>& samples = {});

}  // namespace fettle::watch
