// The filter at any second of a run, played on from where it stood. A sign that came late, was said to be earlier, or
// was taken back changes what followed it and nothing before: so the filter is played again from a state that was kept
// before that sign. The answer is to the last bit the one from the beginning, for it is the same arithmetic on the same
// seconds.
//
// How many states are kept: of the last seconds each, further back ever fewer (the distance to the next earlier one is
// at most about twice how long ago it was). So a sign that is d seconds late costs at most some 3 d seconds of playing,
// and a run of three hours keeps some fifteen states.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fettle/watch/cusum.h"
#include "fettle/watch/follower.h"
#include "fettle/watch/series.h"

namespace fettle::watch {

class Playback {
public:
    struct State {
        long second = -1;       // played to its end; -1: not even begun
        std::size_t taken = 0;  // of the signs
        LevelSteps levels{0.05};
        std::vector<ChangePoint> steps;    // of the current, found so far
        std::optional<Follower> follower;  // none where the script is not known
    };

    // model: nullptr where the script is not known: then only steps of the current are found. Must outlive it.
    explicit Playback(const Model* model);

    // All signs of the run, in order of time.
    void signs(std::vector<Sign> all);
    // The readings of the current from that second on are not what they were.
    void current_changed(long from_second);
    // The state so many seconds after the start. A sign that lies ahead of that is another clock's, and counts as made
    // now. Valid until the next call.
    const State& at(double elapsed_s, const AmpsSeries& amps);
    // Differs from one answer of at() to the next when they are not the same state.
    std::uint64_t version() const { return version_; }
    std::size_t kept() const { return kept_.size(); }

private:
    template <typename Holds>
    void go_back_unless(Holds holds);
    void play_second(long last, const AmpsSeries& amps);
    void keep(long last);

    State fresh_, head_, ahead_;
    std::vector<State> kept_;  // in order of time
    std::vector<Sign> signs_;
    std::uint64_t version_ = 0;
};

}  // namespace fettle::watch
