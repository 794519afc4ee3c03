// One run: the virtual set works on its own clock, and a virtual technician sees what a person could see (dark, back,
// texts, asks), marks it, answers and feeds lines.
#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/rehearse/home_clock.h"
#include "fettle/rehearse/practice.h"
#include "fettle/workshop/live_job.h"
#include "fettle/workshop/mark_run.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/start_run.h"

namespace fettle::rehearse {
namespace {

using standin::EventKind;

constexpr double kTick_s = 10;    // virtual seconds between two looks
constexpr double kPerson_s = 25;  // until the virtual technician has answered
constexpr double kLongest_s = 4 * 3600;

// Somebody who is needed comes after a while.
class Technician {
public:
    bool is_there(bool wanted, double now_s) {
        if (!wanted)
            since_s_.reset();
        else if (!since_s_)
            since_s_ = now_s;
        return wanted && now_s - *since_s_ >= kPerson_s;
    }

private:
    std::optional<double> since_s_;
};

class StepRun {
public:
    StepRun(Practice& p, const plan::PlanStep& planned, UnixMs began) : p_(p), planned_(planned), began_(began) {}

    Status follow() {
        while (going_ && at_s_ < kLongest_s)
            if (Status s = tick(); !s) return s;
        p_.clock.advance_ms(static_cast<std::int64_t>(1000 * (p_.family.settle_s + 1)));  // before anybody proves it
        tell_time(p_.shop.home, p_.clock.now(), p_.clock.now(), 0);
        return {};
    }

private:
    struct Seen {
        std::vector<standin::Event> events;
        double passed_s = 0;
        bool no_way_back = false;
    };

    UnixMs at(double s) const { return began_ + static_cast<std::int64_t>(1000 * s); }

    Seen let_it_run(double most_s) {
        Seen seen;
        p_.bench->with([&](standin::VirtualSet& set) {
            const double before = set.now_s();
            if (answers_.is_there(set.asks(), at_s_)) set.answer(p_.family.act(set.position().act)->control);
            if (feeds_.is_there(!set.sleeps_for().empty(), at_s_)) set.feed(set.sleeps_for());
            seen.events = set.advance_to_next(most_s);
            seen.passed_s = set.now_s() - before;
            going_ = set.running();
            const standin::Position here = set.position();
            if (going_ && !here.act.empty())
                seen.no_way_back =
                    cutmap::no_way_back(cutmap::worst(cutmap::at(planned_.map, here.act, here.cell).outcomes));
        });
        return seen;
    }

    // What is replayed takes no time, and is not told again.
    void wait(double passed_s) const {
        tell_time(p_.shop.home, at(at_s_), at(at_s_ + passed_s), p_.saved.speed);
        std::this_thread::sleep_for(std::chrono::duration<double>(passed_s / p_.saved.speed));
    }

    Status tick() {
        const bool replays = p_.to_replay > 0;
        double most_s = kTick_s;
        const std::optional<double>& cut_at = p_.saved.cut_at;
        const bool cut_now = cut_at && !p_.so_far.cut && p_.so_far.ran_s + most_s > *cut_at;
        if (cut_now) most_s = std::max(0.0, *cut_at - p_.so_far.ran_s);
        const Seen seen = let_it_run(most_s);
        if (!replays) wait(seen.passed_s);
        at_s_ += seen.passed_s;
        p_.so_far.ran_s += seen.passed_s;
        p_.clock.set(at(at_s_));

        bool matters = seen.no_way_back && !shown_no_way_back_;
        shown_no_way_back_ = shown_no_way_back_ || seen.no_way_back;
        for (const standin::Event& e : seen.events) {
            if (Status s = mark(p_, e); !s) return s;
            if (e.kind == EventKind::woken && !replays) p_.tell(Fed{e.text});
            matters = matters || e.kind == EventKind::asks || e.kind == EventKind::ended;
        }
        if (!replays && (matters || p_.request.every_look))
            if (Status s = look(matters); !s) return s;
        if (!cut_now || seen.passed_s < most_s || !going_) return {};
        const Result<double> away_s = cut_power(p_, planned_, began_, at_s_);
        if (!away_s) return pass(away_s);
        at_s_ += *away_s;
        going_ = !p_.so_far.broken_off && p_.so_far.cut->came != standin::Fate::done;
        return {};
    }

    Status look(bool matters) {
        if (!p_.request.tell) return {};
        if (!run_) {
            auto run = workshop::load_job_run(p_.shop, p_.job());
            if (!run) return pass(run);
            run_ = std::move(*run);
            job_.emplace(p_.shop, run_->job);
        }
        if (const auto changed = job_->look(); !changed) return pass(changed);
        const book::Run& now = job_->job().runs.back();
        if (follow_)
            follow_->see(now);
        else
            follow_.emplace(*run_, now);
        const watch::Where where = follow_->tick(p_.clock.now());
        p_.tell(Looked{*follow_, where, matters});
        return {};
    }

    Practice& p_;
    const plan::PlanStep& planned_;
    const UnixMs began_;
    double at_s_ = 0;
    bool going_ = true, shown_no_way_back_ = false;
    Technician answers_, feeds_;
    std::optional<workshop::JobRun> run_;
    std::optional<workshop::LiveJob> job_;
    std::optional<workshop::RunFollow> follow_;
};

std::string counted(const standin::TallyCounts& t) {
    return fmt::format("landed={},passed_over={},refused={},to_come={}", t.landed, t.passed_over, t.refused, t.to_come);
}

}  // namespace

Status mark(Practice& p, const std::string& event, const std::string& shows, const std::string& tally) {
    if (p.to_replay > 0) {
        --p.to_replay;
        return {};
    }
    workshop::MarkRequest r;
    r.job = p.job();
    r.event = event;
    r.shows = shows;
    r.tally = tally;
    r.source = kSource;
    if (const auto marked = workshop::mark_run(p.shop, r); !marked) return pass(marked);
    return {};
}

Status mark(Practice& p, const standin::Event& e) {
    switch (e.kind) {
        case EventKind::shows: return e.text.empty() ? Status() : mark(p, {}, e.text);
        case EventKind::dark: return mark(p, "dark");
        case EventKind::back: return mark(p, "back");
        case EventKind::asks: return mark(p, "asks");
        case EventKind::answered: return mark(p, e.text == "nothing" ? "skipped" : "answered");
        case EventKind::ended: {
            standin::TallyCounts tally;
            p.bench->with([&](standin::VirtualSet& set) { tally = set.tally(); });
            if (Status s = mark(p, {}, {}, counted(tally)); !s) return s;
            return mark(p, e.ending == standin::Ending::complete ? "ended" : "broken-off");
        }
        default: return {};  // a person sees nothing of it
    }
}

Status run_step(Practice& p, int step, const plan::PlanStep& planned) {
    workshop::StartRequest start;
    start.job = p.job();
    start.step = step;
    start.by = kTechnician;
    const auto started =
        p.did(p.about_job({flag("start"), given("by", kTechnician)}), workshop::start_run(p.shop, start));
    if (!started) return pass(started);
    if (!started->begun) {
        std::vector<std::string> why;
        for (const Reason& r : started->standing) why.push_back(r.text);
        return bad_input("rehearsal-not-started", "step " + std::to_string(step),
                         "the run was not begun: " + join(why, "; "), "see the reasons above");
    }
    if (Status begun = p.bench->start_update(); !begun) return begun;
    return follow_run(p, planned, p.clock.now());
}

Status follow_run(Practice& p, const plan::PlanStep& planned, UnixMs began) {
    return StepRun(p, planned, began).follow();
}

}  // namespace fettle::rehearse
