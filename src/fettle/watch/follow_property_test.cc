// Whatever is noted, measured, said to be earlier or taken back, in whatever order and with whatever clock: what Follow
// shows at each tick is to the last bit what the same knowledge gives from the beginning. No tolerance is needed, since
// both do the same arithmetic on the same seconds in the same order; a figure that differs in its last bit has been
// played from a state that it should not have been played from.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/watch/example_run.h"
#include "fettle/watch/follow.h"
#include "fettle/watch/where_test_help.h"

namespace fettle::watch {
namespace {

constexpr UnixMs kStart = 1'800'000'000'000;

std::shared_ptr<const Against> against(bool with_script) {
    const auto make = [](bool script) {
        ExampleRun r(3);
        r.fix_durations();
        // A short run: many acts within the few minutes that a test plays.
        for (forecast::StateWindow& w : r.forecast.states) {
            for (double* s : {&w.lasts.p10_s, &w.lasts.p50_s, &w.lasts.p90_s, &w.lasts.p99_s}) *s /= 6;
        }
        r.forecast.total = {110, 137, 163, 187};
        if (!script) r.family.script.clear();
        return std::make_shared<const Against>(Against{r.family, r.sheet, r.forecast, r.map});
    };
    static const auto with = make(true), without = make(false);
    return with_script ? with : without;
}

// One run as it goes on: each step changes what is known, or lets time pass.
class Tale {
public:
    explicit Tale(bool with_script) : against_(against(with_script)) {
        known_.started = kStart;
        known_.on_bench = *rc::gen::arbitrary<bool>();
        known_.against_halt = *rc::gen::weightedElement<bool>({{9, false}, {1, true}});
        follow_.emplace(against_, known_);
        names_ = events(against_->family);
        names_.push_back("no such event");
    }

    void go_on() {
        switch (*rc::gen::weightedElement<int>({{5, 0}, {2, 1}, {1, 2}, {1, 3}, {4, 4}, {1, 5}, {6, 6}, {1, 7}})) {
            case 0: known_.marks.push_back({*rc::gen::elementOf(names_), *when(), *source(), false}); break;
            case 1:
                if (!known_.marks.empty())
                    known_.marks[*index(known_.marks.size())].undone = *rc::gen::arbitrary<bool>();
                break;
            case 2:
                known_.shown.push_back(
                    {*rc::gen::elementOf(std::vector<std::string>{"Writing", "Reading stick", "Update complete",
                                                                  "Turn the knob to go on", "\xff?"}),
                     *when()});
                break;
            case 3: {
                TallyReading r;
                r.at = *when();
                r.landed = *rc::gen::inRange(0, 16);
                if (*rc::gen::arbitrary<bool>()) r.to_come = *rc::gen::inRange(0, 16);
                known_.tally.push_back(r);
                break;
            }
            case 4: measure(); break;
            case 5:  // a text or a count that is taken back is no longer there
                if (!known_.shown.empty()) known_.shown.erase(known_.shown.begin());
                if (!known_.tally.empty()) known_.tally.pop_back();
                break;
            case 6: now_ += *rc::gen::inRange<UnixMs>(0, 25'000); break;
            case 7:
                known_.state = *rc::gen::elementOf(
                    std::vector<RunState>{RunState::open, RunState::open, RunState::ended, RunState::broken_off});
                known_.over_at = known_.state == RunState::open ? std::nullopt : std::optional(*when());
                break;
        }
        if (*rc::gen::inRange(0, 12) == 0) now_ -= *rc::gen::inRange<UnixMs>(0, 60'000);
    }

    void compare() {
        Observed news = known_;
        news.supply = std::move(fresh_);
        fresh_.clear();
        follow_->see(std::move(news));
        Observed all = with_end(known_);
        all.supply = measured_;
        const Step step = against_->step();
        const Where whole = track(step, all, now_), held = follow_->tick(now_);
        RC_ASSERT(all_of(held) == all_of(whole));
        RC_ASSERT(follow_->strip(held) == strip(step, all, whole, now_, strip_samples(all)));
        RC_ASSERT(follow_->strip_svg(held) == strip_svg(step, all, whole, now_, strip_samples(all)));
    }

private:
    // Now, a moment or minutes ago, before the start, or by a clock that runs ahead.
    rc::Gen<UnixMs> when() const {
        return rc::gen::map(rc::gen::weightedOneOf<UnixMs>({{6, rc::gen::just<UnixMs>(0)},
                                                            {4, rc::gen::inRange<UnixMs>(-5000, 0)},
                                                            {3, rc::gen::inRange<UnixMs>(-150'000, 0)},
                                                            {1, rc::gen::inRange<UnixMs>(0, 90'000)},
                                                            {1, rc::gen::inRange<UnixMs>(-40'000'000, 40'000'000)}}),
                            [now = now_](UnixMs off) { return now + off; });
    }
    static rc::Gen<std::string> source() {
        return rc::gen::elementOf(std::vector<std::string>{"tap", "tap", "link", "amps", "stand-in"});
    }
    static rc::Gen<std::size_t> index(std::size_t n) { return rc::gen::inRange<std::size_t>(0, n); }

    // Twice a second since the last time, at some level; now and then late, twice, or no figure.
    void measure() {
        const double level = *rc::gen::elementOf(std::vector<double>{0.1, 0.9, 2.2, 2.2, 2.25});
        const bool even = *rc::gen::arbitrary<bool>();
        const auto held_back = *rc::gen::weightedElement<std::size_t>({{6, 0}, {2, 3}, {1, 40}});
        std::vector<SupplySample> came;
        for (; measured_to_ <= now_ && came.size() < 120; measured_to_ += 500) {
            const double off = even ? 0 : 0.01 * static_cast<double>(measured_to_ / 500 * 7919 % 23 - 11);
            came.push_back({measured_to_, 13.5, level + off});
        }
        if (!came.empty() && *rc::gen::inRange(0, 4) == 0) came.push_back({came.back().t, 13.5, std::nan("")});
        if (!came.empty() && *rc::gen::inRange(0, 4) == 0) came.push_back(came[*index(came.size())]);
        if (*rc::gen::inRange(0, 6) == 0) came.push_back({*when(), 12.1, level});
        came.insert(came.end(), late_.begin(), late_.end());
        late_.clear();
        if (held_back > 0 && held_back < came.size()) {
            late_.assign(came.end() - static_cast<std::ptrdiff_t>(held_back), came.end());
            came.resize(came.size() - held_back);
        }
        fresh_.insert(fresh_.end(), came.begin(), came.end());
        measured_.insert(measured_.end(), came.begin(), came.end());
    }

    std::shared_ptr<const Against> against_;
    std::optional<Follow> follow_;
    std::vector<std::string> names_;
    Observed known_;  // without supply
    std::vector<SupplySample> measured_, fresh_, late_;
    UnixMs now_ = kStart, measured_to_ = kStart;
};

RC_GTEST_PROP(FollowProperty, ShowsWhatTheWholeRunShows, ()) {
    Tale tale(true);
    const auto steps = *rc::gen::inRange(2, 40);
    for (int i = 0; i < steps; ++i) {
        tale.go_on();
        if (*rc::gen::inRange(0, 3) != 0) tale.compare();
    }
    tale.compare();
}

RC_GTEST_PROP(FollowProperty, AlsoWhereTheScriptIsNotKnown, ()) {
    Tale tale(false);
    const auto steps = *rc::gen::inRange(2, 40);
    for (int i = 0; i < steps; ++i) {
        tale.go_on();
        tale.compare();
    }
}

}  // namespace
}  // namespace fettle::watch
