#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <system_error>

#include "commands.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/shelf/shelf.h"
#include "fettle/show/print.h"
#include "fettle/standin/maker.h"
#include "fettle/workshop/store.h"
#include "rehearsal.h"

namespace fettle::app {
namespace fs = std::filesystem;
namespace {

// A folder of its own: the one asked for, which must be new or empty, or the first free ./rehearsal-N.
Result<fs::path> own_folder(const std::string& asked) {
    std::error_code ec;
    fs::path folder = asked.empty() ? fs::path("rehearsal") : fs::path(asked);
    for (int n = 2; asked.empty() && fs::exists(folder, ec); ++n) folder = fmt::format("rehearsal-{}", n);
    if (fs::exists(folder, ec) && !(fs::is_directory(folder, ec) && fs::is_empty(folder, ec)))
        return bad_input("folder-not-empty", folder.string(), "exists and is not an empty folder",
                         "name another with --out, or leave --out away");
    if (Status made = make_folder(folder); !made) return pass(made);
    return folder;
}

}  // namespace

Rehearsal::Rehearsal(Context& outer, const RehearseOptions& options)
    : outer_(outer),
      options_(options),
      speed_(options.speed.value_or(300)),
      clock_(outer.clock->now()),
      inner_(outer),
      from_(options.from),
      to_(options.to) {
    inner_.clock = &clock_;
    inner_.job.clear();
    inner_.say = nullptr;
}

void Rehearsal::say(const std::string& text) const {
    if (outer_.say) outer_.say(text);
}

// Without it the rehearsal goes the way without a link: by the version view, and the fault memory not read.
bool Rehearsal::reads_pieces() const {
    return std::any_of(family_->link.begin(), family_->link.end(),
                       [](const family::LinkBox& b) { return b.did_pieces != 0; });
}

std::vector<std::string> Rehearsal::addresses() const {
    std::vector<std::string> out;
    for (const family::LinkBox& b : family_->link) {
        const std::uint16_t own = server_->port_of(b.role);
        const std::string at = fmt::format("doip://{}:{}", server_->host(), own != 0 ? own : server_->port());
        out.push_back(family_->link.size() == 1 ? at : b.role + "=" + at);
    }
    return out;
}
std::string Rehearsal::at_typed() const {
    std::string out;
    for (const std::string& a : addresses()) out += (out.empty() ? "--at " : " --at ") + a;
    return out;
}

Result<Answer> Rehearsal::did(const std::string& command, Result<Answer> answer, bool whole_text) {
    if (!answer) return answer;
    const std::string& job = answer->job.empty() ? inner_.job : answer->job;
    if (!job.empty() && !answer->entries.empty()) {
        if (Status kept = append_entries(inner_, job, answer->entries); !kept) return pass(kept);
    }
    say(harmless(
        fmt::format("\n$ fettle {}\n{}", command,
                    whole_text ? as_text(*answer, as_command) : to_page(answer->headline + "\n", answer->width))));
    return answer;
}

// The shop's own releases, when both ends of the way are on its shelf: they are rehearsed as they are, through a link
// to that shelf, which is only read.
Result<bool> Rehearsal::take_from_shelf() {
    std::error_code ec;
    if (!fs::exists(outer_.shelf_folder(), ec)) return false;
    Result<shelf::Shelf> shelf = shelf::Shelf::open(outer_.shelf_folder());
    if (!shelf) return pass(shelf);
    Result<std::vector<shelf::Shelved>> all = shelf->list(family_->id);
    if (!all) return pass(all);
    int ends = 0;
    for (const shelf::Shelved& s : *all) ends += s.release.release == from_ || s.release.release == to_;
    if (ends < (from_ == to_ ? 1 : 2)) return false;
    for (shelf::Shelved& s : *all) releases_.push_back(std::move(s.release));
    if (Status made = make_folder(inner_.families_folder()); !made) return pass(made);
    fs::create_directory_symlink(fs::absolute(outer_.shelf_folder()), inner_.shelf_folder(), ec);
    const fs::path own = outer_.families_folder() / (family_->id + ".toml");
    std::error_code copied;
    if (fs::exists(own, copied)) fs::copy_file(own, inner_.families_folder() / own.filename(), copied);
    if (ec || copied)
        return outside_error("folder-not-made", folder_.string(), "cannot be set up: " + (ec ? ec : copied).message(),
                             "name another folder with --out");
    own_shelf_ = true;
    return true;
}

// The invented maker's releases, made anew from the seed.
Status Rehearsal::make_examples() {
    const auto specs = standin::example_history(family_->id);
    if (specs.empty())
        return bad_input("no-example-releases", family_->id,
                         fmt::format("{} and {} are not both on the shelf, and there are no example releases of this "
                                     "family",
                                     from_, to_),
                         "shelve both, or rehearse an example family, e.g. --family dunnock");
    Result<std::vector<family::Release>> made =
        standin::make_history(*family_, specs, options_.seed, folder_ / "packages");
    if (!made) return pass(made);
    releases_ = std::move(*made);
    return {};
}

Status Rehearsal::set_up_boxes() {
    std::vector<std::string> names;
    for (const family::Release& r : releases_) names.push_back(r.release);
    const auto named = [&](const std::string& name) {
        return std::find_if(releases_.begin(), releases_.end(), [&](const auto& r) { return r.release == name; });
    };
    for (const std::string& wanted : {from_, to_})
        if (named(wanted) == releases_.end())
            return bad_input("release-unknown", printable(wanted),
                             "no release of that name; there are " + join(names, ", "),
                             "choose --from and --to among them");
    const family::Release& start = *named(from_);
    for (const auto& b : family_->boxes) {
        if (b.plate.examples.empty())
            return bad_input("no-example-plate", "box " + b.role, "the family file gives no example plate",
                             "add one to its examples");
        plates_[b.role] = b.plate.examples.front();
    }
    if (!start.markets.empty()) market_ = start.markets.front();
    Result<standin::StartState> state = standin::start_at(*family_, start, plates_, market_);
    if (!state) return pass(state);
    state->partners_missing = true;
    state->must_be_woken = true;
    Result<standin::VirtualSet> set =
        standin::VirtualSet::make(std::make_shared<const family::Family>(*family_), std::move(*state), options_.seed);
    if (!set) return pass(set);
    std::vector<standin::Door> doors;  // a set is wired apart: each box on a transport of its own
    if (family_->link.size() > 1)
        for (const family::LinkBox& b : family_->link) doors.push_back({b.role, "127.0.0.1", 0});
    Result<std::unique_ptr<standin::Server>> server = standin::Server::start(std::move(*set), "127.0.0.1", 0, doors);
    if (!server) return pass(server);
    server_ = std::move(*server);
    return {};
}

Status Rehearsal::prepare() {
    Result<family::Family> family = load_family_by_id(outer_, options_.family);
    if (!family) return pass(family);
    family_ = std::move(*family);
    const auto examples = standin::example_history(family_->id, 0);
    if (examples.empty() && (from_.empty() || to_.empty()))
        return usage_error("release-not-named", from_.empty() ? "--from" : "--to",
                           "is not given, and there are no example releases of " + family_->id,
                           "name two releases of your shelf with --from and --to");
    if (from_.empty()) from_ = examples.front().release;
    if (to_.empty()) to_ = examples.back().release;
    std::error_code ec;
    const bool there = !options_.out.empty() && fs::exists(options_.out, ec);
    Result<fs::path> folder = own_folder(options_.out);
    if (!folder) return pass(folder);
    folder_ = fs::absolute(*folder);
    made_folder_ = !there;
    half_.emplace(folder_, there ? HalfDone::What::inside : HalfDone::What::all);
    inner_.home = folder_ / "home";
    const Result<bool> on_shelf = take_from_shelf();
    if (!on_shelf) return pass(on_shelf);
    if (!*on_shelf) {
        if (Status made = make_examples(); !made) return made;
    }
    if (Status set = set_up_boxes(); !set) return set;
    say(to_page(
        fmt::format("Rehearsal on a virtual {}: {} to {}, at {:g} times real speed, seed {}.\n"
                    "Each stage is the command that you would type. Virtual boxes, {}; real files, digests, signatures "
                    "and protocol.\n",
                    family_->words, from_, to_, speed_, options_.seed,
                    own_shelf_ ? "releases of your own shelf" : "invented releases"),
        80));
    return {};
}

// Nothing half-done stays behind. What is no rehearsal's (a shelf that is linked to) is never followed.
void Rehearsal::clear_away() {
    if (folder_.empty()) return;
    server_.reset();
    card_.reset();
    std::error_code ec;
    for (const auto& entry : fs::directory_iterator(folder_, ec)) {
        std::error_code left;
        fs::remove_all(entry.path(), left);
    }
    if (made_folder_) fs::remove(folder_, ec);
}

Result<Answer> Rehearsal::run() {
    Result<Answer> done = options_.go_on.empty() ? whole_job() : gone_on_with();
    if (!done && half_) clear_away();
    half_.reset();
    if (lock_ >= 0) ::close(lock_);
    return done;
}

Result<Answer> Rehearsal::whole_job() {
    if (Status s = prepare(); !s) return pass(s);
    if (Status s = take_in(); !s) return pass(s);
    if (Status s = shelve(); !s) return pass(s);
    if (Status s = keep_state(false); !s) return pass(s);
    half_.reset();  // it can be gone on with from here
    if (Status s = read_before(); !s) return pass(s);
    const Result<Plan> planned = plan();
    if (!planned) return pass(planned);
    for (const PlanStep& s : planned->steps) {
        if (s.cards < 2) continue;
        half_.emplace(folder_, made_folder_ ? HalfDone::What::all : HalfDone::What::inside);  // no use going on with it
        return bad_input("rehearsal-one-card", printable(s.release.release),
                         fmt::format("takes {} cards one after the other; a rehearsal puts in one card", s.cards),
                         "practise a step that fits on one card");
    }
    return from_the_steps(*planned);
}

Result<Answer> Rehearsal::from_the_steps(const Plan& plan) {
    const Result<book::Job> before = load_job(inner_, job_);
    if (!before) return pass(before);
    int step = 0;
    for (const PlanStep& s : plan.steps) {
        ++step;
        const auto begun =
            std::find_if(before->runs.begin(), before->runs.end(), [&](const book::Run& r) { return r.step == step; });
        if (begun != before->runs.end()) {
            if (Status up = take_up(step, s, *begun); !up) return pass(up);
        } else {
            if (Status laid = lay_and_audit(s.release.release); !laid) return pass(laid);
            if (Status ready = make_ready(step); !ready) return pass(ready);
            if (Status ran = run_step(step, s); !ran) return pass(ran);
        }
        if (broken_off_) break;
    }
    Result<Answer> proof = prove();
    if (!proof) return proof;
    if (Status sealed = hand_over(); !sealed) return pass(sealed);
    if (Status kept = keep_state(true); !kept) return pass(kept);
    say("\n");
    return closing(*proof);
}

Result<Answer> rehearse(Context& context, const RehearseOptions& options) {
    if (options.speed && !(*options.speed > 0 && *options.speed <= 1e6))
        return usage_error("bad-speed", "--speed", "not between 0 and 1000000", "write e.g. --speed 60");
    if (options.cut_at && !(*options.cut_at >= 0))
        return usage_error("bad-cut", "--cut-at", "not a number of seconds from 0", "write e.g. --cut-at 700");
    if (!options.go_on.empty() && (!options.out.empty() || options.cut_at))
        return usage_error("go-on-with-others", "--go-on", "stands beside options of a new rehearsal",
                           "give --go-on DIR alone, or with --speed");
    Rehearsal rehearsal(context, options);
    return rehearsal.run();
}

}  // namespace fettle::app
