// A rehearsal that was left or killed in the middle goes on. Everything that counts stands in its journal; the virtual
// set is brought there by running it once more from the same seed, at once and unseen, past every sign that the journal
// holds already. What comes after the last of them is new again, at the rehearsal's own speed.
#include <algorithm>

#include "fettle/rehearse/practice.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/families.h"

namespace fettle::rehearse {
namespace {

// Signs of a run that the rehearsal wrote down, in as many steps as it took: each was durable by itself. Other people's
// marks may stand between them.
int signs_of(const book::Run& run) {
    const auto ours = [](const auto& list) {
        return static_cast<int>(
            std::count_if(list.begin(), list.end(), [](const auto& s) { return s.source == kSource; }));
    };
    return ours(run.marks) + ours(run.texts) + ours(run.tallies) + (run.outcome == RunState::broken_off ? 1 : 0);
}

}  // namespace

Status load(Practice& p) {
    p.folder = std::filesystem::absolute(p.request.go_on);
    p.shop.home = p.folder / "home";
    Result<Lock> lock = Lock::take(p.folder);
    if (!lock) return pass(lock);
    p.lock = std::move(*lock);
    Result<Saved> saved = saved_in(p.folder);
    if (!saved) return pass(saved);
    if (p.request.speed) saved->speed = *p.request.speed;
    p.saved = std::move(*saved);
    Result<family::Family> family = workshop::load_family_by_id(p.saved.own_shelf ? p.shop : p.outer, p.saved.family);
    if (!family) return pass(family);
    p.family = std::move(*family);
    Result<shelf::Shelf> shelf = shelf::Shelf::open(p.shop.shelf_folder());
    if (!shelf) return pass(shelf);
    Result<std::vector<shelf::Shelved>> all = shelf->list(p.family.id);
    if (!all) return pass(all);
    for (shelf::Shelved& s : *all) p.releases.push_back(std::move(s.release));
    return set_up_bench(p);
}

Status take_up(Practice& p, int step, const plan::PlanStep& planned, const book::Run& run) {
    if (Status in = put_in(p, planned.release.release); !in) return in;
    if (Status begun = p.bench->start_update(); !begun) return begun;
    p.to_replay = signs_of(run);
    p.tell(TakesUp{step, planned.release.release, p.to_replay});
    const UnixMs there = p.clock.now();
    if (Status ran = follow_run(p, planned, run.started); !ran) return ran;
    p.clock.set(std::max(there, p.clock.now()));
    if (p.to_replay > 0)
        return outside_error(
            "rehearsal-differs", p.folder.string(),
            "the virtual set did not come by everything that the journal holds: the program or a family "
            "file has changed since",
            Next{"begin a new one: ", propose(Act::rehearse)});
    return {};
}

}  // namespace fettle::rehearse
