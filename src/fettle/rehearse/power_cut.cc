// The power goes in the middle of a run, and comes back after a while: what the map had said of that instant stands
// beside what the virtual set does, and mend is asked what to try.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/rehearse/practice.h"
#include "fettle/workshop/mend_job.h"
#include "fettle/workshop/note_job.h"
#include "fettle/workshop/store.h"

namespace fettle::rehearse {
namespace {

using standin::Fate;

constexpr double kPowerOff_s = 60;
constexpr double kTick_s = 10;

bool lost_for_now(Fate fate) {
    return fate == Fate::bench_repair || fate == Fate::lost;
}

Cut cut_here(Practice& p, const plan::PlanStep& planned, double at_s) {
    Cut cut;
    cut.release = planned.release.release;
    cut.at_s = at_s;
    p.bench->with([&](standin::VirtualSet& set) {
        const standin::Position here = set.position();
        cut.act = here.act;
        cut.cell = here.cell;
        set.cut_power();
        cut.came = set.fate();
    });
    const cutmap::Moment& moment = cutmap::at(planned.map, cut.act, cut.cell);
    cut.map_said = moment.outcomes;
    cut.story = moment.story;
    return cut;
}

// Once, also when the rehearsal is gone on with from before it.
Status note(Practice& p, const Cut& cut) {
    const auto whole = static_cast<long long>(cut.at_s);
    const std::string text =
        fmt::format("power cut at {}:{:02} of the step to {}", whole / 60, whole % 60, cut.release);
    const auto job = workshop::load_job(p.shop, p.job());
    if (!job) return pass(job);
    const bool noted =
        std::any_of(job->notes.begin(), job->notes.end(), [&](const std::string& n) { return n.starts_with(text); });
    if (noted) return {};
    if (const auto done = workshop::note_job(p.shop, {p.job(), text, "rehearsal"}); !done) return pass(done);
    return {};
}

mend::Now now_of(standin::VirtualSet& set) {
    if (set.running()) return mend::Now::goes_on;
    mend::Now now = mend::Now::starts;
    for (const standin::BoxNow& b : set.boxes_now()) {
        if (b.mode == standin::Mode::recovery) now = mend::Now::recovery;
        if (b.mode == standin::Mode::bench_repair || b.mode == standin::Mode::lost) return mend::Now::dark;
    }
    return now;
}

// The technician looks what the set does, and asks mend. What it advises is what is done then: the same card, waiting,
// or nothing more.
Status ask_mend(Practice& p, double ago_s) {
    workshop::MendRequest r;
    r.job = p.job();
    r.power = mend::Power::lost;
    r.supply_holds = true;
    r.broke_ago_s = ago_s;
    r.by = kTechnician;
    p.bench->with([&](standin::VirtualSet& set) { r.now = now_of(set); });
    std::vector<Argument> said{given("power", "lost"), given("now", std::string(mend::words(*r.now)))};
    if (r.now == mend::Now::dark) {  // it stays so: the practice need not wait
        r.dark_for_s = 3600;
        said.push_back(given("dark-for", "1h"));
    }
    said.push_back(given("supply", "holds"));
    const auto mended = p.did(p.about_job(std::move(said)), workshop::mend_job(p.shop, r), true);
    if (!mended) return pass(mended);
    if (!mended->answer.attempts.empty()) p.so_far.mended_first = code(mended->answer.attempts.front().kind);
    return {};
}

}  // namespace

Result<double> cut_power(Practice& p, const plan::PlanStep& planned, UnixMs began, double at_s) {
    p.so_far.cut = cut_here(p, planned, at_s);
    const Cut& cut = *p.so_far.cut;
    if (p.to_replay == 0) p.tell(PowerWent{cut});
    if (Status s = note(p, cut); !s) return pass(s);
    if (Status s = mark(p, "dark"); !s) return pass(s);

    double passed_s = 0;
    std::vector<standin::Event> events;
    p.bench->with([&](standin::VirtualSet& set) {
        const double before = set.now_s();
        set.advance(kPowerOff_s);
        set.restore_power();
        while (set.boxes_now().front().mode == standin::Mode::starting)
            for (standin::Event& e : set.advance_to_next(kTick_s)) events.push_back(std::move(e));
        passed_s = set.now_s() - before;
    });
    p.clock.set(began + static_cast<std::int64_t>(1000 * at_s) + static_cast<std::int64_t>(1000 * passed_s));
    if (p.to_replay == 0 && cut.came != Fate::done)
        if (Status s = ask_mend(p, passed_s); !s) return pass(s);
    const bool lost = lost_for_now(cut.came);
    bool rests = false;
    p.bench->with([&](standin::VirtualSet& set) { rests = !set.running(); });
    if (rests && !lost && cut.came != Fate::done)  // a person begins again with the same card
        if (Status again = p.bench->start_update(); !again) return pass(again);
    for (const standin::Event& e : events)
        if (Status s = mark(p, e); !s) return pass(s);
    p.so_far.broken_off = lost;
    if (lost)
        if (Status s = mark(p, "broken-off"); !s) return pass(s);
    return passed_s;
}

}  // namespace fettle::rehearse
