// From what was seen to odds: one second after another, each with the marks, texts, counts, looks over the link and
// current that came in it. The same seconds give the same odds, whether they are taken as they come or all at once.
// Absence of a source is no evidence; only somebody who marks is taken to mark the next sign too, and after one that
// was missed to be away.
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "fettle/watch/cusum.h"
#include "fettle/watch/model.h"
#include "fettle/watch/signs.h"

namespace fettle::watch {

// Share of marks that have come so long after their sign (guess).
double delayed_until(double seconds);

struct Place {
    std::size_t k = 0, level = 0;  // of the model's chain and shared factor
    double age_s = 0;
    double p = 0;
};

// A copy goes on from where it was made, and costs some ten thousand numbers.
class Follower {
public:
    explicit Follower(const Model& model);  // which must outlive it and its copies

    struct Amps {
        double mean = 0;                  // of the readings of that second
        double weight = 1;                // how much of an independent reading it is worth
        std::optional<ChangePoint> step;  // of the level, found in it
    };
    // Signs within the second that is not over yet; at the start, those that came with it.
    void within(std::span<const Sign> signs);
    // One second more.
    void second(std::span<const Sign> signs, const std::optional<Amps>& amps);

    double elapsed_s() const { return elapsed_; }
    double good() const;  // neither stuck nor astray
    double in(std::size_t k) const;
    double stuck() const;
    double stuck_in(std::size_t k) const;
    double stuck_as(std::size_t how) const;  // kStuckLow …
    double astray() const { return now_.chance(model_->astray()); }
    std::vector<Place> places() const;  // good ones only; p adds up to good()

    // The last sign that was understood: where it put the run, when, and what is awaited after it.
    bool anchored() const { return anchored_; }
    double anchor_s() const { return anchor_s_; }
    using Places = std::shared_ptr<const std::vector<Place>>;
    const Places& anchor() const { return anchor_; }     // p adds up to 1; at the start: the first act
    std::size_t awaited() const { return awaited_; }     // act of the chain whose beginning is the next sign
    bool silence_seen() const { return silence_seen_; }  // since then something said that it has not come yet

private:
    void take(const Sign& s);
    void take_mark(const Sign& s);
    void take_named(std::size_t k);
    void take_text(const Sign& s);
    void take_tally(const TallyReading& r);
    void take_link(bool answered);
    void take_still();
    void take_amps(double amps, double weight);
    void take_flatness(double amps);
    void take_step(const ChangePoint& step);
    void missed_signs();
    bool begins(const Event& event, std::size_t k) const;
    bool visible(std::size_t k) const;       // its beginning can be seen
    std::size_t group(std::size_t k) const;  // the last visible beginning up to k
    void anchor_now(const Event* since = nullptr);
    template <typename F>
    void each_level(std::size_t k, F f) {
        for (std::size_t level = 0; level < model_->levels(); ++level) f(model_->state(k, level));
    }
    void weigh_stuck(std::size_t k, double likelihood) {
        for (std::size_t how = 0; how < kWaysStuck; ++how) now_.weigh(model_->stuck(k, how), likelihood);
    }
    const family::Act& act(std::size_t k) const { return model_->act(k); }

    const Model* model_;
    Forward now_;
    double elapsed_ = 0;
    Places anchor_;
    double anchor_s_ = 0;
    bool anchored_ = false, silence_seen_ = false;
    std::size_t awaited_ = 0;
    double hit_ = 0;               // of the source that marked last; 0: nobody marks
    std::vector<double> window_;   // readings since flatness was last judged
    std::vector<double> spreads_;  // of such windows in this run, in order of size
    double last_link_s_ = -1e9;
    Event last_event_;
    double last_event_s_ = -1e9;
};

}  // namespace fettle::watch
