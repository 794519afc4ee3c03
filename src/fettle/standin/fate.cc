// What becomes of a cut: let power come back, watch, and name what is seen.
#include <algorithm>

#include "fettle/standin/world.h"

namespace fettle::standin {

Fate fate_of(World w) {
    constexpr double long_enough_s = 14 * 86400.0;
    w.start.answers_asks = true;
    if (!w.run) return w.ending == Ending::complete ? Fate::done : Fate::nothing_changed;
    if (w.phase != Phase::off) w.cut();
    w.restore();
    w.step_to(w.until_s);  // started, and perhaps going on
    if (std::any_of(w.boxes.begin(), w.boxes.end(), [](const BoxWorld& b) { return b.mode == Mode::lost; }))
        return Fate::lost;
    if (std::any_of(w.boxes.begin(), w.boxes.end(), [](const BoxWorld& b) { return b.mode == Mode::bench_repair; }))
        return Fate::bench_repair;
    bool by_card = w.run && w.run->with_card;
    if (!w.run && w.ending == Ending::complete) return Fate::goes_on_by_itself;  // it came through while starting
    if (w.phase == Phase::acting) {
        World end = w;
        while (end.phase != Phase::idle && end.now_s < w.now_s + long_enough_s && end.next_s()) {
            end.step_to(*end.next_s());
            by_card = by_card || (end.run && end.run->with_card);
        }
        if (end.ending == Ending::complete && !end.run) return by_card ? Fate::same_card : Fate::goes_on_by_itself;
        w = std::move(end);
    }
    if (w.all_as_found()) return Fate::nothing_changed;
    return w.net_holds() ? Fate::rests_unfinished : Fate::starts_no_net;
}

std::string_view words(Fate f) {
    switch (f) {
        case Fate::nothing_changed: return "nothing changed";
        case Fate::goes_on_by_itself: return "goes on by itself";
        case Fate::same_card: return "same card takes it up";
        case Fate::rests_unfinished: return "rests unfinished";
        case Fate::starts_no_net: return "starts, no net";
        case Fate::bench_repair: return "bench repair";
        case Fate::lost: return "lost";
        case Fate::done: return "done";
    }
    return "";
}

}  // namespace fettle::standin
