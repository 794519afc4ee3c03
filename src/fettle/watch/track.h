// What the parts of one answer share while it is made. Internal to this room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/align.h"
#include "fettle/watch/basis.h"
#include "fettle/watch/follower.h"
#include "fettle/watch/future.h"
#include "fettle/watch/series.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

inline constexpr double kLikely = 0.05;    // a position this likely counts for "if power went now"
inline constexpr double kSlow = 0.10;      // one good run in ten is this slow: said
inline constexpr double kOverdue = 0.01;   // one in a hundred: look into it
inline constexpr double kAsleep_A = 0.2;   // a box that draws less sleeps or is off (common practice)
inline constexpr double kNeverSo = 0.004;  // the figures carry no further than 1 in 250

struct Track {
    const Basis& basis;
    const Observed& seen;
    const AmpsSeries& amps;
    UnixMs now;
    const CallRule& rule;

    Where w;
    Alignment marks;
    const std::vector<ChangePoint>* steps = nullptr;  // of the current

    // Where the script is known; none of them null then.
    const Model* model = nullptr;
    const Follower* follower = nullptr;
    const Future* future = nullptr;
    const Waiting* waiting = nullptr;
    std::size_t k = 0;  // likeliest act of the chain
    bool overdue = false, waits_for_hand = false;

    const Step& step() const { return basis.step; }
    const std::vector<family::Act>& script() const { return basis.step.family.script; }
    const family::Act& act(std::size_t chain) const { return model->act(chain); }
    // What was marked leads to the end, and that it is done was not said.
    bool end_not_said() const {
        return !marks.ended && !marks.astray && !marks.anchors.empty() &&
               script()[marks.anchors.back().act].kind == family::ActKind::end;
    }
    // Given up: nothing is asked for it any more.
    bool broken_off() const { return seen.state == RunState::broken_off; }

    void say(std::string code, Verdict v, std::string text, std::string rests) {
        w.judgement.add({std::move(code), v, std::move(text), w.act, std::move(rests)});
    }
    // What only a run that goes on asks for.
    void say_while_open(std::string code, Verdict v, std::string text, std::string rests) {
        if (!broken_off()) say(std::move(code), v, std::move(text), std::move(rests));
    }
};

// tracker.cc: the whole answer
void judge(Track& t);
// judge.cc: reasons, and what they rest on
void judge_marks(Track& t);
void judge_pace(Track& t);
void judge_stuck(Track& t);
void judge_texts(Track& t);
void judge_tally(Track& t);
void rests_on(Track& t);
// work.cc: the pace by the box's own counts
std::optional<Work> work_of(const Track& t);
// hands.cc
void hands(Track& t);
void waking(Track& t);
// power.cc: what a cut now would lead to
void power_now(Track& t);
void power_at_end(Track& t);
void power_in_act(Track& t, const std::string& act);
void power_at_worst(Track& t, const char* because);
// sentence.cc
void sentence(Track& t);
void timeline(Track& t);

}  // namespace fettle::watch
