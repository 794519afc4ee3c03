// The run that a watch stays with: the filter (Playback), what it waits for and what is still to come, each kept for as
// long as what it was made from stands. So a tick in which nothing new was seen costs one second of playing.
#include "fettle/watch/following.h"

#include <algorithm>

#include "fettle/watch/track.h"

namespace fettle::watch {

Following::Following(const Step& step, const Observed& seen)
    : basis_(step, seen.on_bench), amps_(seen.started), playback_(basis_.model ? &*basis_.model : nullptr) {
    seen_.started = seen.started;
    seen_.on_bench = seen.on_bench;
}

void Following::see(Observed seen) {
    if (const auto changed = amps_.add(seen.supply)) playback_.current_changed(*changed);
    seen.supply.clear();
    seen.started = seen_.started;
    seen.on_bench = seen_.on_bench;
    seen_ = with_end(std::move(seen));
    if (basis_.model) playback_.signs(signs_of(basis_.model->script(), seen_));
}

Where Following::tick(UnixMs now, const CallRule& rule) {
    if (seen_.state == RunState::broken_off && seen_.over_at) now = *seen_.over_at;
    now = std::max(now, seen_.started);
    amps_.until(now);
    Track t{basis_, seen_, amps_, now, rule, {}, {}};
    t.w.state = seen_.state;
    t.w.elapsed_s = static_cast<double>(now - seen_.started) / 1000;
    t.w.restarts_in_script = basis_.restarts;
    const Playback::State& state = playback_.at(t.w.elapsed_s, amps_);
    t.steps = &state.steps;
    if (state.follower) {
        t.model = &*basis_.model;
        t.follower = &*state.follower;
        t.waiting = &waiting(*t.follower);
        t.future = &future(*t.follower);
    }
    judge(t);
    return std::move(t.w);
}

const Waiting& Following::waiting(const Follower& f) {
    if (!waiting_ || waiting_from_ != f.anchor() || waiting_for_ != f.awaited()) {
        waiting_.emplace(*basis_.model, *f.anchor(), f.awaited());
        waiting_from_ = f.anchor();
        waiting_for_ = f.awaited();
    }
    return *waiting_;
}

const Future& Following::future(const Follower& f) {
    if (!future_ || future_of_ != playback_.version()) {
        future_.emplace(*basis_.model, f.places());
        future_of_ = playback_.version();
    }
    return *future_;
}

}  // namespace fettle::watch
