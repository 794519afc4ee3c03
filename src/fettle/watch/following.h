// One run, held: what it is held against worked out, the filter running, the series in order. What Follow and track()
// are both made of; internal to this room.
#pragma once

#include <optional>

#include "fettle/watch/basis.h"
#include "fettle/watch/future.h"
#include "fettle/watch/playback.h"
#include "fettle/watch/series.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

class Following {
public:
    // `step` refers to what must outlive it. Of `seen` only when and where the run began is taken here.
    Following(const Step& step, const Observed& seen);
    Following(const Following&) = delete;
    Following& operator=(const Following&) = delete;

    void see(Observed seen);  // as Follow::see
    Where tick(UnixMs now, const CallRule& rule);

    const Basis& basis() const { return basis_; }
    const Observed& seen() const { return seen_; }
    const AmpsSeries& amps() const { return amps_; }

private:
    const Waiting& waiting(const Follower& f);
    const Future& future(const Follower& f);

    const Basis basis_;
    Observed seen_;  // without its supply
    AmpsSeries amps_;
    Playback playback_;
    // Drawn from a state of the filter, and kept while that stands.
    std::optional<Waiting> waiting_;
    Follower::Places waiting_from_;
    std::size_t waiting_for_ = 0;
    std::optional<Future> future_;
    std::uint64_t future_of_ = 0;
};

}  // namespace fettle::watch
