#include "fettle/show/stand_in.h"

#include <gtest/gtest.h>

namespace fettle::show {
namespace {

using standin::Event;
using standin::EventKind;

Event event(EventKind kind, const char* text = "") {
    Event e;
    e.at_s = 65.4;
    e.kind = kind;
    e.text = text;
    return e;
}

// Who practises must see at once what the box waits for, and what to type.
TEST(ShowStandIn, WhatItWaitsForStandsInCapitalsWithWhatToType) {
    Event ask = event(EventKind::asks, "Turn the knob to go on");
    ask.control = "knob";
    EXPECT_EQ(event_line(ask), "     65 s  ASKS \"Turn the knob to go on\": type knob and Enter\n");
    EXPECT_EQ(event_line(event(EventKind::sleeps, "ignition feed")),
              "     65 s  SLEEPS until the line is fed: type ignition feed and Enter\n");
}

TEST(ShowStandIn, OtherEventsAreNamedByTheirWordWithTheTextBehindIt) {
    EXPECT_EQ(event_line(event(EventKind::dark)), "     65 s  dark\n");
    EXPECT_EQ(event_line(event(EventKind::answered, "its time ran out")), "     65 s  answered (its time ran out)\n");
    Event tally = event(EventKind::tally);
    tally.tally = {12, 26, 0, 2};
    EXPECT_EQ(event_line(tally), "     65 s  landed 12, passed over 26, refused 0, to come 2\n");
    Event ended = event(EventKind::ended);
    ended.ending = standin::Ending::stopped;
    EXPECT_EQ(event_line(ended), "     65 s  ended: " + std::string(standin::words(standin::Ending::stopped)) + "\n");
}

// A text of somebody's card reaches the terminal made harmless (ECMA-48: ESC begins a control sequence).
TEST(ShowStandIn, TextsOfACardCannotSteerTheTerminal) {
    EXPECT_EQ(event_line(event(EventKind::shows, "\x1b[2J")).find('\x1b'), std::string::npos);
}

TEST(ShowStandIn, EveryDoorIsALineOfItsOwn) {
    EXPECT_EQ(doors_as_text({"doip://127.0.0.1:13400",
                             {{0x1041, "can://127.0.0.1:29536/0x7a1:0x7a9"}},
                             {{"display", "doip://127.0.0.1:13401"}}}),
              "Listening on doip://127.0.0.1:13400; this is practice, nothing real is written.\n"
              "Box 0x1041 on can://127.0.0.1:29536/0x7a1:0x7a9\n"
              "The display also on doip://127.0.0.1:13401.\n");
}

}  // namespace
}  // namespace fettle::show
