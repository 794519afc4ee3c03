// The placard for the windscreen or the bench: what is going on, until when, what not to touch, whom to ask. One page
// of paper as lines and bars in millimetres; written as SVG here and as PDF by the program. No name of a customer, no
// number plate: it hangs where everybody reads it.
#pragma once

#include <string>
#include <vector>

namespace fettle::ready {

struct PlacardFacts {
    std::string job, workshop, place;  // number; name; "bench" or "vehicle"
    std::string release;
    std::string begun;                  // "14:05" when a run is open; empty: to be written by hand
    std::string done_early, done_late;  // "14:31", "14:40"; without a start "26 min after the start"; empty: not known
    std::vector<std::string> keep;      // holds, in words
    std::vector<std::string> hands;     // "between 14:12 and 14:17: asks for the knob"
    std::vector<std::string> cautions;
    std::string ask_for;  // a name; may be empty
};

struct PlacardLine {
    std::string text;
    double x_mm = 0, y_mm = 0;  // of its base line
    double size_mm = 0;         // of the letters, as fonts count
    bool bold = false;
    bool centred = false;  // x is then the middle
};
struct PlacardBar {
    double x_mm = 0, y_mm = 0, w_mm = 0, h_mm = 0;
    bool filled = false;
};
struct Placard {
    double w_mm = 210, h_mm = 297;  // A4
    std::vector<PlacardLine> lines;
    std::vector<PlacardBar> bars;
};

// Everything fits on the page: letters get smaller, down to 60 %, before anything would fall off; then the last
// cautions go, never a hold or a time.
Placard lay_out(const PlacardFacts& facts);

std::string placard_svg(const Placard& page);

// How wide DejaVu Sans sets a text, within a few per cent and never less.
double width_mm(std::string_view text, double size_mm, bool bold);

}  // namespace fettle::ready
