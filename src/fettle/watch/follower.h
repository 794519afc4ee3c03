// From what was seen to odds: one second after another, each with the marks, texts, counts, looks over the link and
// current that came in it. The same seconds give the same odds, whether they are taken as they come or all at once.
// Absence of a source is no evidence; only somebody who marks is taken to mark the next sign too, and after one that
// was missed to be away.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/cusum.h"
#include "fettle/watch/model.h"

namespace fettle::watch {

struct Sign {
    enum class Kind { mark, text, tally, link };
    Kind kind = Kind::mark;
    std::string what;       // event, or text
    bool machine = false;   // by link, current or stand-in rather than by a person
    bool answered = false;  // link
    TallyReading counts;
    double at_s = 0;
    std::size_t order = 0;  // in which they were made: equal times keep it
};

// In seconds since the start of the step; texts and marks that were taken back are left out, as is the same event said
// twice within half a minute.
std::vector<Sign> signs_of(const Observed& seen, UnixMs now);

// Share of marks that have come so long after their sign (guess).
double delayed_until(double seconds);

struct Place {
    std::size_t k = 0, level = 0;  // of the model's chain and shared factor
    double age_s = 0;
    double p = 0;
};

class Follower {
public:
    Follower(const Step& step, const Model& model);

    // What came with the start itself.
    void begin(const std::vector<Sign>& signs);
    // One second more. amps: mean of the readings in it; weight: how much of an independent reading it is worth.
    void second(const std::vector<Sign>& signs, std::optional<double> amps, double amps_weight);

    double elapsed_s() const { return elapsed_; }
    double good() const;  // neither stuck nor astray
    double in(std::size_t k) const;
    double stuck() const;
    double stuck_in(std::size_t k) const;
    double stuck_as(std::size_t how) const;  // kStuckLow …
    double astray() const { return now_.chance(model_.astray()); }
    std::vector<Place> places() const;  // good ones only; p adds up to good()

    // The last sign that was understood: where it put the run, when, and what is awaited after it.
    bool anchored() const { return anchored_; }
    double anchor_s() const { return anchor_s_; }
    const std::vector<Place>& anchor() const { return anchor_; }  // p adds up to 1; at the start: the first act
    std::size_t awaited() const { return awaited_; }              // act of the chain whose beginning is the next sign
    bool silence_seen() const { return silence_seen_; }           // since then something said that it has not come yet

private:
    void take(const Sign& s);
    void take_mark(const Sign& s);
    void take_named(const Sign& s, std::size_t k);
    void take_text(const Sign& s);
    void take_tally(const TallyReading& r);
    void take_link(bool answered);
    void take_still();
    void take_amps(double amps, double weight);
    void take_flatness(double amps);
    void take_step(const ChangePoint& step);
    void missed_signs();
    bool begins(const std::string& event, std::size_t k) const;
    bool visible(std::size_t k) const;       // its beginning can be seen
    std::size_t group(std::size_t k) const;  // the last visible beginning up to k
    void anchor_now();
    template <typename F>
    void each_level(std::size_t k, F f) {
        for (std::size_t level = 0; level < model_.levels(); ++level) f(model_.state(k, level));
    }
    void weigh_stuck(std::size_t k, double likelihood) {
        for (std::size_t how = 0; how < kWaysStuck; ++how) now_.weigh(model_.stuck(k, how), likelihood);
    }
    const family::Act& act(std::size_t k) const { return step_.family.script[model_.chain()[k].act]; }

    const Step& step_;
    const Model& model_;
    Forward now_;
    double elapsed_ = 0;
    std::vector<int> before_, pieces_;  // pieces written before, and in, each act of the chain
    std::vector<Place> anchor_;
    double anchor_s_ = 0;
    bool anchored_ = false, silence_seen_ = false;
    std::size_t awaited_ = 0;
    double hit_ = 0;               // of the source that marked last; 0: nobody marks
    std::vector<double> window_;   // readings since flatness was last judged
    std::vector<double> spreads_;  // of such windows in this run, in order of size
    LevelSteps steps_{0.05};
    double last_link_s_ = -1e9;
    std::string last_event_;
    double last_event_s_ = -1e9;
};

}  // namespace fettle::watch
