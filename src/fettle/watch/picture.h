// What both forms of the run strip draw: the run along its own time axis, already judged. Computed once, drawn twice.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "fettle/watch/positions.h"
#include "fettle/watch/strip.h"

namespace fettle::watch {

struct Segment {  // one act of the script
    std::string act;
    double from_s = 0, to_s = 0;
    double mean_A = 0, high_A = 0;  // 0: not known
    bool dark = false;
};

struct Patch {  // a stretch of one ground
    double from_s = 0, to_s = 0;
    Ground ground = Ground::firm;
};

struct Tap {
    double at_s = 0;
    std::string words;  // "dark", "back", …
};

struct Reach {  // when a hand is needed, on the run's axis
    double from_s = 0, to_s = 0;
    bool now = false;
    bool past = false;
};

struct Picture {
    double span_s = 60;  // what the paper shows, from the start of the step
    double now_s = 0;
    bool over = false;  // ended: there is no "ahead"
    double top_A = 1;
    std::vector<Segment> segments;
    std::vector<Patch> patches;
    std::vector<Tap> taps;
    std::vector<Reach> hands;
    std::span<const SeriesPoint> samples;  // measured ampere, in order of time, none after now

    const Segment* at(double s) const;                // nullptr before the first and after the last
    Ground ground(double from_s, double to_s) const;  // the worst in that stretch
    // Mean of the samples in the stretch; negative when there is none.
    double measured_A(double from_s, double to_s) const;
};

// samples: in order of time, finite and not negative; the picture refers to them.
Picture picture(const Step& step, const Positions& positions, const Observed& seen, const Where& where,
                std::span<const SeriesPoint> samples);

std::vector<std::string> draw_strip(const Picture& picture, const Where& where, const StripStyle& style);
std::string draw_strip_svg(const Picture& picture, const Where& where);

// A distance of ticks in minutes, so that there are about `wanted` of them: 1, 2, 5, 10, 15, 30, 60 …
double tick_minutes(double span_s, double wanted);

}  // namespace fettle::watch
