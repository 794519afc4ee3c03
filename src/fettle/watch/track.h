// What the parts of one answer share while it is made. Internal to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/align.h"
#include "fettle/watch/follower.h"
#include "fettle/watch/future.h"
#include "fettle/watch/positions.h"
#include "fettle/watch/series.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

inline constexpr double kLikely = 0.05;    // a position this likely counts for "if power went now"
inline constexpr double kSlow = 0.10;      // one good run in ten is this slow: said
inline constexpr double kOverdue = 0.01;   // one in a hundred: look into it
inline constexpr double kAsleep_A = 0.2;   // a box that draws less sleeps or is off (common practice)
inline constexpr double kNeverSo = 0.004;  // the figures carry no further than 1 in 250

struct Track {
    const Step& step;
    const Observed& seen;
    UnixMs now = 0;
    CallRule rule;
    Where w;
    AmpsSeries amps;
    Positions positions;
    Alignment marks;

    // Where the script is known.
    std::optional<Model> model;
    std::optional<Follower> follower;
    std::optional<Future> future;
    std::optional<Waiting> waiting;
    std::size_t k = 0;  // likeliest act of the chain
    bool overdue = false, waits_for_hand = false;

    const family::Act& act(std::size_t chain) const { return step.family.script[model->chain()[chain].act]; }
    void say(std::string code, Verdict v, std::string text, std::string rests) {
        w.judgement.add({std::move(code), v, std::move(text), w.act, std::move(rests)});
    }
};

// judge.cc: reasons, and what they rest on
void judge_marks(Track& t);
void judge_pace(Track& t);
void judge_stuck(Track& t);
void judge_texts(Track& t);
void judge_tally(Track& t);
void rests_on(Track& t);
// hands.cc
void hands(Track& t);
void waking(Track& t);
// power.cc: what a cut now would lead to
void power_now(Track& t);
void power_at_end(Track& t);
void power_at_worst(Track& t, const char* because);
// sentence.cc
void sentence(Track& t);
void timeline(Track& t);

}  // namespace fettle::watch
