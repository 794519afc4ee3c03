#include "fettle/show/stand_in.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/print.h"

namespace fettle::show {

using standin::Event;
using standin::EventKind;

std::string doors_as_text(const workshop::StandInDoors& doors) {
    std::string out = fmt::format("Listening on {}; this is practice, nothing real is written.\n", doors.listens);
    for (const auto& [number, address] : doors.boxes_on_can)
        out += fmt::format("Box 0x{:04X} on {}\n", number, address);
    for (const auto& [box, address] : doors.also) out += fmt::format("The {} also on {}.\n", box, address);
    return out;
}

std::string event_line(const Event& e) {
    std::string what;
    switch (e.kind) {
        case EventKind::state: what = fmt::format("{}: {}", e.act, printable(e.text)); break;
        case EventKind::shows: what = fmt::format("shows \"{}\"", printable(e.text)); break;
        case EventKind::asks: what = fmt::format("ASKS \"{}\": type {} and Enter", printable(e.text), e.control); break;
        case EventKind::sleeps:
            what = fmt::format("SLEEPS until the line is fed: type {} and Enter", printable(e.text));
            break;
        case EventKind::restarted: what = fmt::format("{} box is up, mode {}", e.box, e.mode); break;
        case EventKind::tally:
            what = fmt::format("landed {}, passed over {}, refused {}, to come {}", e.tally.landed, e.tally.passed_over,
                               e.tally.refused, e.tally.to_come);
            break;
        case EventKind::ended: what = fmt::format("ended: {}", words(e.ending)); break;
        default: what = std::string(words(e.kind)) + (e.text.empty() ? "" : " (" + printable(e.text) + ")"); break;
    }
    return fmt::format("{:7.0f} s  {}\n", e.at_s, what);
}

Answer stood_in(const workshop::StoodIn& stood) {
    const standin::VirtualSet& s = stood.set;
    const auto t = s.tally();
    Answer a;
    a.headline = stood.rested ? "The stand-in has answered as long as it was to; no update was started."
                              : fmt::format("The stand-in's run has ended after {}: {}.", human_duration(stood.ended_s),
                                            words(s.ending()));
    json::array boxes;
    for (const auto& b : s.boxes_now()) {
        a.text +=
            fmt::format("  {:<8} {} mode, shows release {}\n", b.role, words(b.mode), printable(s.release(b.role)));
        boxes.push_back({{"box", b.role}, {"mode", json_word(words(b.mode))}, {"release", s.release(b.role)}});
    }
    a.text += fmt::format("  landed {}, passed over {}, refused {}, to come {}\n", t.landed, t.passed_over, t.refused,
                          t.to_come);
    a.data = {{"ending", json_word(words(s.ending()))},
              {"virtual_s", stood.ended_s},
              {"boxes", std::move(boxes)},
              {"tally",
               {{"landed", t.landed}, {"passed_over", t.passed_over}, {"refused", t.refused}, {"to_come", t.to_come}}}};
    a.judgement = stood.judgement;
    return a;
}

}  // namespace fettle::show
