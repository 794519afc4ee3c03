// One run of a rehearsal: the virtual set works on its own clock, a virtual technician sees what a person could see
// (dark, back, texts, asks) and marks it, and the run strip is drawn from the journal like any other.
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <thread>

#include "cmd_job.h"
#include "cmd_mend.h"
#include "cmd_watch.h"
#include "fettle/base/text.h"
#include "fettle/workshop/live_job.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/store.h"
#include "rehearsal.h"
#include "rehearsal_clock.h"

namespace fettle::app {
namespace {

using standin::EventKind;
using standin::Fate;

constexpr double kTick_s = 10;      // virtual seconds between two looks
constexpr double kPerson_s = 25;    // until the virtual technician has answered
constexpr double kPowerOff_s = 60;  // power stays away so long after a rehearsed cut
constexpr double kLongest_s = 4 * 3600;

bool means(cutmap::Outcome map, Fate fate) {
    return cutmap::words(map) == standin::words(fate);
}

// "2:30" for an instant of a run: a cut is a matter of seconds.
std::string minutes_seconds(double s) {
    const auto whole = static_cast<long long>(s);
    return fmt::format("{}:{:02}", whole / 60, whole % 60);
}

// Has the virtual technician been wanted for long enough to be there? since_s: when it began; below 0: it has not.
bool overdue(bool wanted, double now_s, double& since_s) {
    if (!wanted)
        since_s = -1;
    else if (since_s < 0)
        since_s = now_s;
    return wanted && now_s - since_s >= kPerson_s;
}

bool lost_for_now(Fate fate) {
    return fate == Fate::bench_repair || fate == Fate::lost;
}

}  // namespace

bool RehearsedCut::agree() const {
    return std::any_of(map_said.begin(), map_said.end(), [&](cutmap::Outcome o) { return means(o, came); });
}

Status Rehearsal::mark(const std::string& event, const std::string& shows, const std::string& tally) {
    if (replayed_ > 0) {  // it stands in the journal
        --replayed_;
        return {};
    }
    workshop::MarkRequest o;
    o.job = job_;
    o.event = event;
    o.shows = shows;
    o.tally = tally;
    o.source = "stand-in";
    if (const auto marked = workshop::mark_run(inner_, o); !marked) return pass(marked);
    return {};
}

Status Rehearsal::mark_event(const standin::Event& e) {
    switch (e.kind) {
        case EventKind::shows: return e.text.empty() ? Status() : mark({}, e.text);
        case EventKind::dark: return mark("dark");
        case EventKind::back: return mark("back");
        case EventKind::asks: return mark("asks");
        case EventKind::answered: return mark(e.text == "nothing" ? "skipped" : "answered");
        case EventKind::ended: {
            standin::TallyCounts t;
            server_->with([&](standin::VirtualSet& set) { t = set.tally(); });
            const std::string counts = fmt::format("landed={},passed_over={},refused={},to_come={}", t.landed,
                                                   t.passed_over, t.refused, t.to_come);
            if (Status s = mark({}, {}, counts); !s) return s;
            return mark(e.ending == standin::Ending::complete ? "ended" : "broken-off");
        }
        default: return {};  // a person sees nothing of it
    }
}

Status Rehearsal::note_cut(const std::string& text) {
    if (replayed_ > 0) {
        --replayed_;
        return {};
    }
    JobNoteOptions note;
    note.job = job_;
    note.by = "rehearsal";
    note.text = text;
    Result<Answer> noted = job_note(inner_, note);
    if (!noted) return pass(noted);
    return {};
}

// Cuts the power at this instant and lets the set do what it does. Whether it can go on decides the rest of the run.
Status Rehearsal::cut_here(const PlanStep& planned, double at_s) {
    RehearsedCut cut;
    cut.release = planned.release.release;
    cut.at_s = at_s;
    server_->with([&](standin::VirtualSet& set) {
        const standin::Position p = set.position();
        cut.act = p.act;
        cut.cell = p.cell;
        set.cut_power();
        cut.came = set.fate();
    });
    const cutmap::Moment& moment = cutmap::at(planned.map, cut.act, cut.cell);
    cut.map_said = moment.outcomes;
    cut.story = moment.story;
    std::vector<std::string> said;
    for (const cutmap::Outcome o : cut.map_said) said.emplace_back(cutmap::words(o));
    if (replayed_ == 0)
        say(fmt::format(
            "\nPower cut at {} of the step, in \"{}\".\n  The map had said: {}. {}\n  The virtual set: {}.\n",
            minutes_seconds(at_s), cut.act, join(said, " or "), cut.story, standin::words(cut.came)));
    cut_ = cut;
    if (Status s = note_cut(fmt::format("power cut at {} of the step to {}", minutes_seconds(at_s), cut.release)); !s)
        return s;
    return mark("dark");
}

Status Rehearsal::run_step(int step, const PlanStep& planned) {
    WatchOptions watch;
    watch.job = job_;
    watch.start = true;
    watch.by = "bench 1";
    watch.step = step;
    watch.once = true;
    watch.ascii = options_.ascii;
    const bool json = inner_.json;
    inner_.json = true;  // drawn below, at the rehearsal's own speed
    Result<Answer> started = did(fmt::format("watch {} --start --by \"bench 1\"", job_), watch_run(inner_, watch));
    inner_.json = json;
    if (!started) return pass(started);
    if (const auto* yes = started->data.if_contains("begun"); !yes || !yes->as_bool())
        return bad_input("rehearsal-not-started", "step " + std::to_string(step),
                         "the run was not begun: " + started->headline, "see the reasons above");
    Status begun;
    server_->with([&](standin::VirtualSet& set) { begun = set.start_update(); });
    if (!begun) return begun;
    return follow_run(planned, clock_.now());
}

// Power is away for a while, comes back, and the set starts, as far as it does. Seconds that passed.
Result<double> Rehearsal::power_back(UnixMs cut_at) {
    double passed = 0;
    std::vector<standin::Event> events;
    Status again;
    server_->with([&](standin::VirtualSet& set) {
        const double before = set.now_s();
        set.advance(kPowerOff_s);
        set.restore_power();
        while (set.boxes_now().front().mode == standin::Mode::starting)
            for (standin::Event& e : set.advance_to_next(kTick_s)) events.push_back(std::move(e));
        passed = set.now_s() - before;
    });
    clock_.set(cut_at + static_cast<std::int64_t>(1000 * passed));
    if (replayed_ == 0)
        if (Status s = mended(passed); !s) return pass(s);
    server_->with([&](standin::VirtualSet& set) {
        const bool over = lost_for_now(cut_->came) || cut_->came == standin::Fate::done;
        if (!over && !set.running()) again = set.start_update();  // rests: a person begins anew with the same card
    });
    if (!again) return pass(again);
    for (const standin::Event& e : events)
        if (Status s = mark_event(e); !s) return pass(s);
    broken_off_ = lost_for_now(cut_->came);
    if (broken_off_)
        if (Status s = mark("broken-off"); !s) return pass(s);
    return passed;
}

// The technician looks what the set does, and asks mend. What it advises is what is done below: the same card, waiting,
// or nothing more.
Status Rehearsal::mended(double ago_s) {
    workshop::MendRequest o;
    o.job = job_;
    o.power = mend::Power::lost;
    o.supply_holds = true;
    o.broke_ago_s = ago_s;
    o.by = kRehearsedBy;
    o.now = mend::Now::starts;
    server_->with([&](standin::VirtualSet& set) {
        if (set.running()) o.now = mend::Now::goes_on;
        for (const standin::BoxNow& b : set.boxes_now()) {
            if (b.mode == standin::Mode::recovery && !set.running()) o.now = mend::Now::recovery;
            if (b.mode == standin::Mode::bench_repair || b.mode == standin::Mode::lost) o.now = mend::Now::dark;
        }
    });
    if (cut_->came == Fate::done) return {};
    std::string now(mend::words(*o.now));
    if (o.now == mend::Now::dark) {  // it stays so: the practice need not wait
        o.dark_for_s = 3600;
        now += " --dark-for 3600";
    }
    Result<Answer> a =
        did(fmt::format("mend {} --power lost --now {} --supply holds", job_, now), mend_job(inner_, o), true);
    if (!a) return pass(a);
    mended_first_ = std::string(a->data.at("attempts").as_array().front().at("kind").as_string());
    return {};
}

// From the start of a run, at `began`, to its end. Signs that stand in the journal already are passed at once.
Status Rehearsal::follow_run(const PlanStep& planned, UnixMs began) {
    const bool live = outer_.say && ::isatty(STDOUT_FILENO) == 1;
    Result<JobRun> run = load_job_run(inner_, job_);
    if (!run) return pass(run);
    LiveJob journal(inner_, run->job);
    std::optional<RunFollow> follow;
    std::size_t drawn = 0;  // lines of the picture that stands on the terminal
    const auto draw = [&]() -> Status {
        if (const auto looked = journal.look(); !looked) return pass(looked);
        const book::Run& which = journal.job().runs.back();
        if (!follow)
            follow.emplace(*run, which);
        else
            follow->see(which);
        const watch::Where where = follow->tick(clock_.now());
        const auto lines = follow->follow().strip(where, {80, options_.ascii, true});
        std::string out = live && drawn > 0 ? fmt::format("\033[{}A\r", drawn) : std::string("\n");
        for (const std::string& l : lines) out += l + (live ? "\033[K\n" : "\n");
        drawn = lines.size();
        say(out);
        return {};
    };

    double at_s = 0, asked_at_s = -1, asleep_at_s = -1;
    bool shown_no_way_back = false, going = true;
    const auto virtual_at = [&](double s) { return began + static_cast<std::int64_t>(1000 * s); };
    while (going && at_s < kLongest_s) {
        const bool replays = replayed_ > 0;
        double tick = kTick_s;
        const bool cut_now = options_.cut_at && !cut_ && ran_s_ + tick > *options_.cut_at;
        if (cut_now) tick = std::max(0.0, *options_.cut_at - ran_s_);
        std::vector<standin::Event> events;
        double passed = 0;
        bool no_way_back = false;
        server_->with([&](standin::VirtualSet& set) {
            const double before = set.now_s();
            if (overdue(set.asks(), at_s, asked_at_s)) set.answer(family_->act(set.position().act)->control);
            if (overdue(!set.sleeps_for().empty(), at_s, asleep_at_s)) set.feed(set.sleeps_for());
            events = set.advance_to_next(tick);
            passed = set.now_s() - before;
            going = set.running();
            const standin::Position p = set.position();
            if (going && !p.act.empty())
                no_way_back = cutmap::no_way_back(cutmap::worst(cutmap::at(planned.map, p.act, p.cell).outcomes));
        });
        if (!replays) {
            tell_rehearsal_time(inner_.home, virtual_at(at_s), virtual_at(at_s + passed), speed_);
            std::this_thread::sleep_for(std::chrono::duration<double>(passed / speed_));
        }
        at_s += passed;
        ran_s_ += passed;
        clock_.set(virtual_at(at_s));
        bool asks = false, ended = false;
        for (const standin::Event& e : events) {
            if (Status s = mark_event(e); !s) return s;
            asks = asks || e.kind == EventKind::asks;
            if (e.kind == EventKind::woken && !replays) say(fmt::format("\nThe {} line is fed.\n", e.text));
            ended = ended || e.kind == EventKind::ended;
        }
        const bool telling = asks || ended || (no_way_back && !shown_no_way_back);
        shown_no_way_back = shown_no_way_back || no_way_back;
        if (!replays && (live || telling)) {
            if (Status s = draw(); !s) return s;
        }
        if (cut_now && passed >= tick && going) {
            drawn = 0;
            if (Status s = cut_here(planned, at_s); !s) return s;
            const Result<double> away_s = power_back(virtual_at(at_s));
            if (!away_s) return pass(away_s);
            at_s += *away_s;
            going = !broken_off_ && cut_->came != Fate::done;
        }
    }
    clock_.advance_ms(static_cast<std::int64_t>(1000 * (family_->settle_s + 1)));  // settled before anybody proves it
    tell_rehearsal_time(inner_.home, clock_.now(), clock_.now(), 0);
    return {};
}

}  // namespace fettle::app
