// Where is the run? A fold over what was seen (marks, texts of the box, its tally, the time) against the family's step
// script, with durations from the forecast. Pure: the same observations and the same `now` give the same answer, so a
// watch that was killed goes on where it stood. Never asks a clock, never guesses past what it says it rests on; any
// sequence of marks in any order of time gives an answer.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/watch/event.h"
#include "fettle/watch/observed.h"
#include "fettle/watch/worry.h"

namespace fettle::watch {

enum class Standing { running, ended, astray };
std::string_view words(Standing s);

struct Odds {
    std::string act;
    double p = 0;
    bool an_act = true;  // false: "stuck" or "astray", which can be in any act
};

struct HandsWindow {
    std::string act, words, control, shows;
    double from_s = 0, to_s = 0;  // from now; P10 and P90 of its beginning; 0 when it is due
    bool now = false;
    bool wake = false;            // on a bench: something must be fed, rather than pressed
    bool call = false;            // it is due, or asked within the lead time with the shop's certainty
    double p_within = 0;          // chance that it is asked within the lead time; 1 when it is due
    std::vector<double> draws_s;  // of its beginning, from now; for counting with other benches
};

struct CallRule {         // of the shop
    double lead_s = 180;  // so long before hands are needed they are to be called
    double certainty = 0.8;
};

struct Work {  // what the box's counts say of the pace of a write act
    std::string act;
    int done = 0, pieces = 0;
    double seconds = 0, rate_bytes_s = 0, overhead_s = 0;
    double total_s = 0, left_s = 0;  // of that act
    std::string rests_on;            // the overhead's source
};

struct Proposal {  // a change of the supply current that nobody marked
    double at_s = 0;
    double from_A = 0, to_A = 0;
    std::string event;  // "dark" or "back" would fit it
};

struct Where {
    RunState state = RunState::open;  // broken off: the rest is as it was at that moment, and nothing is asked for
    Standing standing = Standing::running;
    std::string act;                 // the likeliest, or the marked one; empty: can't say
    bool by_mark = false;            // false: by elapsed time alone
    std::vector<Odds> odds;          // likeliest first, down to 1 in 100; also "stuck" and "astray"
    double stuck = 0, astray = 0;    // of all, by everything that was seen
    double elapsed_s = 0;            // since the start of the step
    std::optional<double> in_act_s;  // since the mark that began it; absent when no mark did
    int restarts_seen = 0, restarts_in_script = 0;
    std::string awaited;      // the next sign that can be seen: "the screen goes dark"
    double as_slow = 1;       // share of good runs in which that sign had not come by now, in [0, 1]
    double wait_until_s = 0;  // from now: after it fewer than 1 good run in 100 is still waiting; 0 when past
    double end_p50_s = 0, end_p90_s = 0;  // from now
    std::vector<HandsWindow> hands;       // in order of time
    std::string next_act, next_words;     // what comes after the act it is in
    double next_in_p50_s = 0;             // from now
    cutmap::Outcomes if_power_went;       // over every position that is likely enough (1 in 20)
    std::string if_power_went_words;      // "the same card takes it up"; says so when it can't say
    Judgement judgement;                  // slow, astray, unknown text, broken tally, hands, begun against a halt …
    std::string sentence;                 // the one sentence above the strip
    std::string pace;                     // "1 in 3 good runs are this slow here"
    std::string rests_on;                 // "2 marks (tap); durations: measured 12"
    Worry worry;                          // slow or stuck, in parts; empty parts while nothing is late
    bool likely_stuck = false;            // more likely than not, by everything that was seen
    bool to_be_woken = false;             // on a bench: it sleeps until something is fed
    bool restart_loop = false;
    bool stands = false;  // an ask went by unanswered, and then it stops: it waits for nothing that comes by itself
    std::optional<Work> work;
    std::vector<Proposal> proposals;  // in order of time
    double settle_left_s = 0;         // after the end, until it is safe to remove the medium and the supply
    bool safe_to_remove = false;      // ended, and settled
    bool end_in_doubt = false;        // it says so before any good run can, or with nothing written: look first

    // When each act of the script began or is expected to begin, on the run's axis (seconds since the start), and the
    // end: one more than acts. Past ones that were marked are exact; the others are medians.
    std::vector<double> begins_s;
    std::vector<bool> begin_marked;
};

// From the beginning, for a single look; who stays with a run takes Follow.
Where track(const Step& step, const Observed& seen, UnixMs now, const CallRule& rule = {});

// "1 in 3 good runs are this slow here", "fewer than 1 in 1000 …", "every good run takes this long here".
std::string slow_words(double share);

// One box text against the family's messages: meaning, next act, how sure; an unknown one is kept word for word and
// can't be said.
struct TextMeaning {
    bool known = false;
    std::string meaning, next;
    Basis sure;
    bool refused_piece = false;
    std::string piece;  // of a refused one, when the box names it
    std::string retry;  // the family's rule
};
TextMeaning meaning_of(const family::Family& family, std::string_view text);

// The first reading that breaks conservation: landed never falls, the classes add up to the total, what is to come
// never rises unless the family says so. nullopt: none does.
struct TallyBreak {
    std::size_t reading = 0;  // 0-based
    std::string why;
};
std::optional<TallyBreak> check_tally(const family::Family& family, const change::ExpectedTally& expected,
                                      const std::vector<TallyReading>& readings);

// "landed=12,passed_over=26" → reading; usage_error names the class or number that cannot be read.
Result<TallyReading> parse_tally(std::string_view text, UnixMs at);

}  // namespace fettle::watch
