// What becomes of a cut: let power come back, watch, and name what is seen.
#include <algorithm>

#include "fettle/standin/world.h"

namespace fettle::standin {

Fate fate_of(World w) {
    const std::uint64_t most_entries = w.entries + 12 * w.family->script.size();  // acts begun; then it goes in circles
    w.start.answers_asks = true;
    w.start.must_be_woken = false;
    if (!w.run) return w.ending == Ending::complete ? Fate::done : Fate::nothing_changed;
    if (w.phase != Phase::off) w.cut();
    w.restore();
    w.step_to(w.until_s);  // started, and perhaps going on
    if (std::any_of(w.boxes.begin(), w.boxes.end(), [](const BoxWorld& b) { return b.mode == Mode::lost; }))
        return Fate::lost;
    if (std::any_of(w.boxes.begin(), w.boxes.end(), [](const BoxWorld& b) { return b.mode == Mode::bench_repair; }))
        return Fate::bench_repair;
    if (!w.run && w.ending == Ending::complete) return Fate::goes_on_by_itself;  // it came through while starting
    if (w.phase == Phase::acting) {
        const bool by_card = w.run->with_card;
        while (w.phase != Phase::idle && w.entries < most_entries && w.next_s()) w.step_to(*w.next_s());
        if (w.phase != Phase::idle) return Fate::never_ends;
        if (w.ending == Ending::complete && !w.run) return by_card ? Fate::same_card : Fate::goes_on_by_itself;
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
        case Fate::never_ends: return "never ends";
    }
    return "";
}

}  // namespace fettle::standin
