// What to do after a run broke, got stuck or failed: what can have happened and with what odds, what may be tried
// first, how often, when to stop, who may go on. Computes on values: the last certain sign, the power-cut map, and what
// the box does or shows now. It never offers an attempt by which the map says that the box could end worse than it is,
// and it offers none where it cannot say; then it says what to look at. docs/mend.md tells the computation.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/record.h"
#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"
#include "fettle/forecast/forecast.h"

namespace fettle::mend {

enum class Power { not_said, lost, kept };  // lost: it was without power since the last sign of life
enum class Now {
    not_said,
    starts,    // fed, it comes up as in daily use
    recovery,  // fed, it comes up in its recovery mode, or asks for the card
    goes_on,   // fed, the update goes on by itself
    dark,      // fed, and nothing comes for longer than its longest dark time
};
std::string_view words(Power p);  // "", "lost", "kept"
std::string_view words(Now n);    // "", "starts", "recovery", "goes-on", "dark"
std::optional<Power> power_named(std::string_view word);
std::optional<Now> now_named(std::string_view word);

// What is certain of the run; seconds since its start.
struct Seen {
    std::string act;  // the last that a sign says began; empty: only its start is known
    double act_at_s = 0;
    double alive_s = 0;         // the last sign that it worked
    double trouble_s = 0;       // the first sign that it did not
    std::optional<int> landed;  // of the last tally that it showed
    double landed_at_s = 0;
    bool ended = false;    // it said that it was done
    bool refused = false;  // it said that a piece was refused
};

struct Found {  // what the box does now
    Power power = Power::not_said;
    Now now = Now::not_said;
    std::string release;        // that it shows; empty: not looked
    bool supply_holds = false;  // it is on a supply now that does not fail again
};

struct Question {
    const family::Family& family;
    const change::ChangeSheet& sheet;
    const forecast::Forecast& forecast;
    const cutmap::CutMap& map;  // of that sheet; with two cuts where a further one is to be judged
    Seen seen;
    Found found;
    std::vector<Tried> tried;
    std::optional<double> stuck_low, stuck_high;  // by the watch, while it is still fed
};

// Never without power, and yet it comes up by itself with something else than the release of this run: it has restarted
// of its own accord, which for what is written is a cut.
bool restarted_by_itself(const Question& question);

struct Chance {  // low < high where a fact is not known or the medium decides
    double low = 0, high = 0;
};

struct Place {  // where it can have broken
    std::string act, words;
    int cell = -1;
    std::string piece;
    double p = 0;
    cutmap::Outcomes outcomes;  // those that what the box does now leaves
};

struct Attempt {
    MendKind kind = MendKind::wait;
    std::string words;  // what to do
    std::string stop;   // when to stop it
    std::string risk;   // what a further cut during it could lead to; empty: no worse than now
    std::string who;
    int most = 1, done = 0;
    Chance helps;
    double p50_s = 0, p90_s = 0;      // until it has shown whether it helps
    std::vector<std::string> writes;  // regions, "main.recovery"; empty: nothing, or not known
};
struct Withheld {
    MendKind kind = MendKind::wait;
    std::string why;
    bool wants_supply = false;  // it is offered once a supply is known to hold
    bool wants_answer = false;  // nobody can say before Answer::look is answered
};

struct Answer {
    std::vector<Place> places;  // likeliest first; what together makes 99 of 100
    std::map<cutmap::Outcome, Chance> outcomes;
    std::vector<std::string> before;  // what comes before any attempt
    std::vector<Attempt> attempts;    // in the order to try them
    std::vector<Withheld> withheld;   // what is not offered, and why
    bool no_net = false;              // certain: it starts, and nothing would catch a further mishap
    bool stop = false;                // nothing is left that may be tried here
    bool nothing_to_mend = false;
    std::string look;  // the one thing to look at next; empty: nothing
    std::string sentence, stop_rule, who_goes_on, rests_on;
    Judgement judgement;
};

// Never throws on what people typed; a map that is not of the sheet is a caller's bug.
Answer mend(const Question& question);

// Of a run that nobody can describe: neither script nor boot order is known. ended: the box said that it was done.
Answer no_way_known(bool ended);

// The longest that a good run is dark, with 99 in 100: until then darkness says nothing.
double longest_dark_s(const family::Family& family, const forecast::Forecast& forecast);

}  // namespace fettle::mend
