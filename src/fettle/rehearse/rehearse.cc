// The order of a rehearsal. Everything that counts stands in its journal; what its folder keeps besides (saved.h) is
// only what it takes to set the same virtual set up again.
#include "fettle/rehearse/rehearse.h"

#include <fmt/core.h>

#include <algorithm>
#include <system_error>

#include "fettle/base/text.h"
#include "fettle/rehearse/practice.h"
#include "fettle/workshop/store.h"

namespace fettle::rehearse {
namespace fs = std::filesystem;
namespace {

// Nothing half-done stays behind. What is no rehearsal's (a shelf that is linked to) is never followed.
void clear_away(Practice& p) {
    if (p.folder.empty()) return;
    p.bench.reset();
    std::error_code ec;
    for (const auto& entry : fs::directory_iterator(p.folder, ec)) {
        std::error_code left;
        fs::remove_all(entry.path(), left);
    }
    if (p.made_folder) fs::remove(p.folder, ec);
}

Status one_card_a_step(Practice& p, const plan::Plan& plan) {
    for (const plan::PlanStep& s : plan.steps) {
        if (s.cards < 2) continue;
        p.half.emplace(p.folder, p.made_folder ? HalfDone::What::all : HalfDone::What::inside);  // no use going on
        return bad_input("rehearsal-one-card", printable(s.release.release),
                         fmt::format("takes {} cards one after the other; a rehearsal puts in one card", s.cards),
                         "practise a step that fits on one card");
    }
    return {};
}

Status from_the_steps(Practice& p, const plan::Plan& plan) {
    const Result<book::Job> before = workshop::load_job(p.shop, p.job());
    if (!before) return pass(before);
    int step = 0;
    for (const plan::PlanStep& s : plan.steps) {
        ++step;
        const auto begun =
            std::find_if(before->runs.begin(), before->runs.end(), [&](const book::Run& r) { return r.step == step; });
        if (begun != before->runs.end()) {
            if (Status up = take_up(p, step, s, *begun); !up) return up;
        } else {
            if (Status laid = lay_and_audit(p, s.release.release); !laid) return laid;
            if (Status ready = make_ready(p, step); !ready) return ready;
            if (Status ran = run_step(p, step, s); !ran) return ran;
        }
        if (p.so_far.broken_off) break;
    }
    if (Status s = prove(p); !s) return s;
    if (Status s = hand_over(p); !s) return s;
    return p.keep(true);
}

Status from_the_reading(Practice& p) {
    if (Status s = read_before(p); !s) return s;
    const Result<plan::Plan> plan = make_plan(p);
    if (!plan) return pass(plan);
    if (Status s = one_card_a_step(p, *plan); !s) return s;
    return from_the_steps(p, *plan);
}

Status whole_job(Practice& p) {
    if (Status s = prepare(p); !s) return s;
    if (Status s = take_in(p); !s) return s;
    if (Status s = shelve(p); !s) return s;
    if (Status s = p.keep(false); !s) return s;
    p.half.reset();  // it can be gone on with from here
    return from_the_reading(p);
}

Status gone_on_with(Practice& p) {
    if (Status s = load(p); !s) return s;
    const Result<book::Job> job = workshop::load_job(p.shop, p.job());
    if (!job) return pass(job);
    p.clock.set(job->last_entry);
    p.tell(GoesOn{p.family, p.saved.from, p.saved.to, p.job(), p.saved.speed});
    if (job->runs.empty()) return from_the_reading(p);
    const Result<workshop::JobRun> run = workshop::load_job_run(p.shop, p.job());
    if (!run) return pass(run);
    return from_the_steps(p, run->plan);
}

Rehearsed closing(Practice& p) {
    Rehearsed out = std::move(p.so_far);
    out.from = p.saved.from;
    out.to = p.saved.to;
    out.folder = p.folder.string();
    out.job = p.job();
    out.level = p.family.level;
    out.judgement = out.proof.judgement;
    if (out.cut && !out.cut->agree())
        out.judgement.add({"map-and-stand-in-differ", Verdict::halt,
                           "the virtual set did what the power-cut map did not name: a defect in one of them",
                           out.cut->act, "rehearsal"});
    return out;
}

Status check(const Request& r) {
    if (r.speed && !(*r.speed > 0 && *r.speed <= 1e6))
        return usage_error("bad-speed", "--speed", "not between 0 and 1000000", "write e.g. --speed 60");
    if (r.cut_at && !(*r.cut_at >= 0))
        return usage_error("bad-cut", "--cut-at", "not a number of seconds from 0", "write e.g. --cut-at 700");
    if (!r.go_on.empty() && (!r.out.empty() || r.cut_at))
        return usage_error("go-on-with-others", "--go-on", "stands beside options of a new rehearsal",
                           "give --go-on DIR alone, or with --speed");
    return {};
}

}  // namespace

bool Cut::agree() const {
    return std::any_of(map_said.begin(), map_said.end(),
                       [&](cutmap::Outcome o) { return cutmap::words(o) == standin::words(came); });
}

Practice::Practice(const workshop::Workshop& o, const Request& r)
    : outer(o), request(r), clock(o.clock->now()), shop(o) {
    shop.clock = &clock;
    shop.uptime = nullptr;  // the machine's own goes at another pace
    saved = {r.family, r.from, r.to, {}, r.speed.value_or(300), r.seed, r.cut_at, false, false};
}

std::vector<Argument> Practice::about_job(std::vector<Argument> arguments) const {
    arguments.insert(arguments.begin(), fettle::job(job()));
    return arguments;
}

// The file is another one each time it is written, so the lock is taken again.
Status Practice::keep(bool ended) {
    saved.ended = ended;
    if (Status s = save(folder, saved); !s) return s;
    lock = {};
    auto taken = Lock::take(folder);
    if (!taken) return pass(taken);
    lock = std::move(*taken);
    return {};
}

Result<Rehearsed> rehearse(const workshop::Workshop& shop, const Request& request) {
    if (Status s = check(request); !s) return pass(s);
    Practice p(shop, request);
    const Status done = request.go_on.empty() ? whole_job(p) : gone_on_with(p);
    if (!done) {
        if (p.half) clear_away(p);
        return pass(done);
    }
    return closing(p);
}

}  // namespace fettle::rehearse
