// A rehearsal that was left or killed in the middle goes on. Everything that counts stands in its journal; the virtual
// set is brought there by running it once more from the same seed, at once and unseen, past every sign that the journal
// holds already. What comes after the last of them is new again, at the rehearsal's own speed.
#include <fcntl.h>
#include <fmt/core.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/shelf/shelf.h"
#include "fettle/show/print.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/store.h"
#include "rehearsal.h"

namespace fettle::app {
namespace fs = std::filesystem;
namespace {

constexpr const char* kState = "rehearsal.json";

// Signs of a step's run that the rehearsal wrote down, in as many steps as it took: each was durable by itself. Other
// people's marks may stand between them.
int signs_of(const JobRecord& record, int step) {
    int signs = 0;
    bool its_run = false;
    for (const book::Entry& e : record.entries) {
        const Result<json::value> parsed = parse_json(e.data, "journal");
        if (!parsed || !parsed->is_object()) continue;
        const json::object& o = parsed->as_object();
        if (e.type == "started") its_run = static_cast<int>(number_of(o, "step")) == step;
        if (!its_run) continue;
        const bool seen = e.type == "mark" || e.type == "shows" || e.type == "tally";
        if ((seen && text_of(o, "source") == "stand-in") || (e.type == "note" && text_of(o, "by") == "rehearsal") ||
            (e.type == "ended" && text_of(o, "outcome") == "broken off"))
            ++signs;
    }
    return signs;
}

UnixMs last_entry_at(const JobRecord& record) {
    UnixMs last = 0;
    for (const book::Entry& e : record.entries) last = std::max(last, e.at);
    return last;
}

}  // namespace

Status Rehearsal::keep_state(bool ended) {
    json::object o{{"family", family_->id},   {"from", from_},         {"to", to_},
                   {"speed", speed_},         {"seed", options_.seed}, {"job", job_},
                   {"own_shelf", own_shelf_}, {"ended", ended}};
    if (options_.cut_at) o["cut_at"] = *options_.cut_at;
    if (Status kept = write_file_durably(folder_ / kState, pretty(o)); !kept) return kept;
    if (lock_ >= 0) ::close(lock_);
    return lock_state();
}

// The file stays open: as long as it is, no other program goes on with this rehearsal.
Status Rehearsal::lock_state() {
    const fs::path file = folder_ / kState;
    lock_ = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
    if (lock_ < 0)
        return bad_input("rehearsal-not-begun", folder_.string(), "holds no rehearsal that could be gone on with",
                         "begin a new one: fettle rehearse");
    if (::flock(lock_, LOCK_EX | LOCK_NB) != 0)
        return bad_input("rehearsal-busy", folder_.string(), "another program is going on with this rehearsal",
                         "end that one first, or look on: fettle --home " + (folder_ / "home").string() + " watch J");
    return {};
}

Status Rehearsal::load_state() {
    const Result<std::string> text = read_text_file(folder_ / kState, 65536);
    if (!text) return pass(text);
    const Result<json::value> parsed = parse_json(*text, (folder_ / kState).string());
    if (!parsed) return pass(parsed);
    const json::object empty;
    const json::object& o = parsed->is_object() ? parsed->as_object() : empty;
    options_.family = text_of(o, "family");
    from_ = text_of(o, "from");
    to_ = text_of(o, "to");
    job_ = text_of(o, "job");
    options_.seed = static_cast<std::uint64_t>(number_of(o, "seed", 1));
    if (!options_.speed) speed_ = std::clamp(number_of(o, "speed", speed_), 1e-3, 1e6);
    if (o.contains("cut_at")) options_.cut_at = number_of(o, "cut_at");
    own_shelf_ = o.contains("own_shelf") && o.at("own_shelf").is_bool() && o.at("own_shelf").as_bool();
    if (options_.family.empty() || from_.empty() || to_.empty() || job_.empty())
        return bad_input("rehearsal-not-begun", (folder_ / kState).string(), "does not say what was rehearsed",
                         "begin a new one: fettle rehearse");
    if (o.contains("ended") && o.at("ended").is_bool() && o.at("ended").as_bool())
        return bad_input("rehearsal-ended", folder_.string(), "this rehearsal has come to its end",
                         fmt::format("look at it: fettle --home {} job show {}", (folder_ / "home").string(), job_));
    return {};
}

Result<Answer> Rehearsal::gone_on_with() {
    folder_ = fs::absolute(options_.go_on);
    inner_.home = folder_ / "home";
    if (Status s = lock_state(); !s) return pass(s);
    if (Status s = load_state(); !s) return pass(s);
    inner_.job = job_;
    Result<family::Family> family = load_family_by_id(own_shelf_ ? inner_ : outer_, options_.family);
    if (!family) return pass(family);
    family_ = std::move(*family);
    Result<shelf::Shelf> shelf = shelf::Shelf::open(inner_.shelf_folder());
    if (!shelf) return pass(shelf);
    Result<std::vector<shelf::Shelved>> all = shelf->list(family_->id);
    if (!all) return pass(all);
    for (shelf::Shelved& s : *all) releases_.push_back(std::move(s.release));
    if (Status s = set_up_boxes(); !s) return pass(s);
    const Result<JobRecord> record = read_job(inner_, job_);
    if (!record) return pass(record);
    clock_.set(last_entry_at(*record));
    const Result<book::Job> job = load_job(inner_, job_);
    if (!job) return pass(job);
    say(to_page(
        fmt::format("Going on with the rehearsal of {} to {} on a virtual {}, job {}, at {:g} times real speed.\n",
                    from_, to_, family_->words, job_, speed_),
        80));
    if (job->runs.empty()) {
        if (Status s = read_before(); !s) return pass(s);
        const Result<Plan> planned = plan();
        if (!planned) return pass(planned);
        return from_the_steps(*planned);
    }
    Result<JobRun> run = load_job_run(inner_, job_);
    if (!run) return pass(run);
    return from_the_steps(run->plan);
}

Status Rehearsal::take_up(int step, const PlanStep& planned, const book::Run& run) {
    const Result<JobRecord> record = read_job(inner_, job_);
    if (!record) return pass(record);
    if (Status in = put_in(planned.release.release); !in) return in;
    Status begun;
    server_->with([&](standin::VirtualSet& set) { begun = set.start_update(); });
    if (!begun) return begun;
    replayed_ = signs_of(*record, step);
    say(fmt::format("\nStep {}, to {}: {} in the journal already.\n", step, planned.release.release,
                    replayed_ == 1 ? "1 sign stands" : fmt::format("{} signs stand", replayed_)));
    const UnixMs there = clock_.now();
    if (Status ran = follow_run(planned, run.started); !ran) return ran;
    clock_.set(std::max(there, clock_.now()));
    if (replayed_ > 0)
        return outside_error(
            "rehearsal-differs", folder_.string(),
            "the virtual set did not come by everything that the journal holds: the program or a family "
            "file has changed since",
            "begin a new one: fettle rehearse");
    return {};
}

}  // namespace fettle::app
