#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <system_error>

#include "cmd_card.h"
#include "cmd_handover.h"
#include "cmd_identity.h"
#include "cmd_job.h"
#include "cmd_link.h"
#include "cmd_plan.h"
#include "cmd_prove.h"
#include "cmd_ready.h"
#include "cmd_shelf.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/shelf/shelf.h"
#include "fettle/standin/maker.h"
#include "job_run.h"
#include "job_store.h"
#include "print.h"
#include "rehearsal.h"

namespace fettle::app {
namespace fs = std::filesystem;
namespace {

constexpr const char* kWho = "bench 1";

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

std::string in_quotes(const std::string& text) {
    return "\"" + text + "\"";
}

}  // namespace

Rehearsal::Rehearsal(Context& outer, const RehearseOptions& options)
    : outer_(outer), options_(options), clock_(outer.clock->now()), inner_(outer) {
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

std::string Rehearsal::address() const {
    return fmt::format("doip://{}:{}", server_->host(), server_->port());
}

Result<Answer> Rehearsal::did(const std::string& command, Result<Answer> answer, bool whole_text) {
    if (!answer) return answer;
    const std::string& job = answer->job.empty() ? inner_.job : answer->job;
    if (!job.empty() && !answer->entries.empty()) {
        if (Status kept = append_entries(inner_, job, answer->entries); !kept) return pass(kept);
    }
    say(harmless(fmt::format("\n$ fettle {}\n{}", command,
                             whole_text ? as_text(*answer) : to_page(answer->headline + "\n", answer->width))));
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
    for (const shelf::Shelved& s : *all) ends += s.release.release == options_.from || s.release.release == options_.to;
    if (ends < (options_.from == options_.to ? 1 : 2)) return false;
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
    if (family_->id != "dunnock")
        return bad_input("no-example-releases", family_->id,
                         fmt::format("{} and {} are not both on the shelf, and there are no example releases of this "
                                     "family",
                                     options_.from, options_.to),
                         "shelve both, or rehearse with --family dunnock");
    const auto specs = standin::dunnock_history();
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
    for (const std::string& wanted : {options_.from, options_.to})
        if (named(wanted) == releases_.end())
            return bad_input("release-unknown", printable(wanted),
                             "no release of that name; there are " + join(names, ", "),
                             "choose --from and --to among them");
    const family::Release& start = *named(options_.from);
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
    Result<standin::VirtualSet> set =
        standin::VirtualSet::make(std::make_shared<const family::Family>(*family_), std::move(*state), options_.seed);
    if (!set) return pass(set);
    Result<std::unique_ptr<standin::Server>> server = standin::Server::start(std::move(*set), "127.0.0.1", 0);
    if (!server) return pass(server);
    server_ = std::move(*server);
    return {};
}

Status Rehearsal::prepare() {
    Result<family::Family> family = load_family_by_id(outer_, options_.family);
    if (!family) return pass(family);
    family_ = std::move(*family);
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
                    family_->words, options_.from, options_.to, options_.speed, options_.seed,
                    own_shelf_ ? "releases of your own shelf" : "invented releases"),
        80));
    return {};
}

Status Rehearsal::take_in() {
    JobOpenOptions o;
    o.customer = "1007";
    o.vehicle = "Vellmoor estate (invented)";
    o.complaint = "Display stays dark after a short stop";
    o.housings = static_cast<int>(plates_.size());
    for (const auto& [role, plate] : plates_) o.plates.push_back(plate);
    o.keep = {"card slot: owner's map card #blue"};
    o.consents = {"one-way"};
    o.by = kWho;
    server_->with([&](standin::VirtualSet& set) { o.vin = set.vin(); });
    std::string typed =
        fmt::format("job open --customer 1007 --complaint {} --keep {}", in_quotes(o.complaint), in_quotes(o.keep[0]));
    for (const auto& p : o.plates) typed += " --plate " + p;
    Result<Answer> a = did(typed + " --consent one-way", job_open(inner_, o));
    if (!a) return pass(a);
    job_ = std::string(a->data.at("job").as_string());
    inner_.job = job_;
    return {};
}

Status Rehearsal::shelve() {
    if (own_shelf_) return {};
    for (const family::Release& r : releases_) {
        ShelfAddOptions o;
        o.package = (folder_ / "packages" / r.release).string();
        o.family = family_->id;
        o.from = "made by this rehearsal";
        o.right = "own-work";
        Result<Answer> a =
            did(fmt::format("shelf add packages/{} --from {} --right own-work", r.release, in_quotes(o.from)),
                shelf_add(inner_, o));
        if (!a) return pass(a);
    }
    return {};
}

Status Rehearsal::read_before() {
    IdentifyOptions id;
    std::string typed = "identify";
    for (const auto& [role, plate] : plates_) {
        id.plates.push_back(plate);
        typed += " " + plate;
    }
    id.views = {options_.from + (market_.empty() ? "" : " " + market_)};
    id.housings = static_cast<int>(plates_.size());
    Result<Answer> a = did(typed + " --view " + in_quotes(id.views[0]) + " --job " + job_, identify(inner_, id));
    if (!a) return pass(a);
    if (!reads_pieces()) return {};
    LinkReadOptions read;
    read.at = address();
    read.family = family_->id;
    read.save = (folder_ / "as-found.txt").string();
    a = did("link read --at " + address() + " --save as-found.txt --job " + job_, link_read(inner_, read));
    if (!a) return pass(a);
    LinkFaultsOptions faults;
    faults.at = address();
    faults.family = family_->id;
    a = did("link faults --at " + address() + " --when before --job " + job_, link_faults(inner_, faults));
    if (!a) return pass(a);
    return {};
}

Result<Plan> Rehearsal::plan() {
    PlanOptions o;
    o.to = options_.to;
    std::string typed = fmt::format("plan --job {} --to {}", job_, options_.to);
    if (reads_pieces()) {
        o.as_found = (folder_ / "as-found.txt").string();
        typed += " --as-found as-found.txt";
    }
    Result<Answer> a = did(typed, fettle::app::plan(inner_, o), true);
    if (!a) return pass(a);
    Result<JobRun> run = load_job_run(inner_, job_);
    if (!run) return pass(run);
    return std::move(run->plan);
}

Status Rehearsal::lay_and_audit(const std::string& release) {
    const fs::path image = folder_ / ("card-" + release + ".img");
    CardLayOptions lay;
    lay.release = release;
    lay.family = family_->id;
    lay.out = image.string();
    const std::string name = image.filename().string();
    Result<Answer> a = did(fmt::format("card lay {} --out {} --job {}", release, name, job_), card_lay(inner_, lay));
    if (!a) return pass(a);
    CardAuditOptions audit;
    audit.card = image.string();
    audit.release = release;
    audit.family = family_->id;
    a = did(fmt::format("card audit {} --release {} --job {}", name, release, job_), card_audit(inner_, audit));
    if (!a) return pass(a);
    Result<std::unique_ptr<card::BlockDevice>> device = card::open_for_reading(image);
    if (!device) return pass(device);
    server_->with([&](standin::VirtualSet& set) { set.insert_card(**device); });
    card_ = std::move(*device);  // the one before is let go only now that nothing reads it
    files_.push_back(name);
    return {};
}

Status Rehearsal::make_ready(int step) {
    ReadyAnswerOptions o;
    o.job = job_;
    o.answers = {"support=yes",         "supply.volts=13.5", "supply.limit=10", "supply.lead_m=2",
                 "supply.lead_mm2=2.5", "supply.fused=yes",  "slots=empty",     "holds=yes"};
    for (const family::Act& a : family_->script) {
        if (a.kind == family::ActKind::ask) o.answers.push_back(a.id + "=answers");
        if (!a.wake.empty()) o.answers.push_back("wake." + a.id + "=yes");
    }
    Result<Answer> a = did("ready answer " + job_ + " " + join(o.answers, " "), ready_answer(inner_, o));
    if (!a) return pass(a);
    Result<Answer> check = did(fmt::format("ready check {} --step {}", job_, step), ready_check(inner_, {job_, step}));
    if (!check) return pass(check);
    for (const auto& standing : check->data.at("standing").as_array()) {
        const std::string code(standing.as_string());
        a = did(fmt::format("ready accept {} {} --by {} --reason rehearsal", job_, code, in_quotes(kWho)),
                ready_accept(inner_, {job_, code, kWho, "rehearsal on a virtual set", step}));
        if (!a) return pass(a);
    }
    return {};
}

// Without a link: what a person can see of the version view, and the fault memory as not read.
Status Rehearsal::look_after() {
    std::string shown;
    server_->with([&](standin::VirtualSet& set) { shown = set.release(family_->boxes.front().role); });
    Result<Answer> a = broken_off_ ? Result<Answer>(Answer())
                                   : did("as-left " + job_ + " --release " + shown, as_left(inner_, {job_, "", shown}));
    if (!a) return pass(a);
    a = did("faults " + job_ + " --when after --none-read", fettle::app::faults(inner_, {job_, "after", "", true}));
    if (!a) return pass(a);
    return {};
}

Status Rehearsal::read_after() {
    if (!reads_pieces()) return look_after();
    LinkReadOptions read;
    read.at = address();
    read.family = family_->id;
    read.when = "after";
    const std::string typed = "link read --at " + address() + " --when after --job " + job_;
    Result<Answer> a = link_read(inner_, read);
    if (!a && broken_off_) {  // it does not start any more, so nobody answers; that is written down as not read
        say(harmless(fmt::format("\n$ fettle {}\n{}\n", typed, a.error().message())));
        return look_after();
    }
    a = did(typed, std::move(a));
    if (!a) return pass(a);
    LinkFaultsOptions faults;
    faults.at = address();
    faults.family = family_->id;
    faults.when = "after";
    a = did("link faults --at " + address() + " --when after --job " + job_, link_faults(inner_, faults));
    if (!a) return pass(a);
    return {};
}

Result<Answer> Rehearsal::prove() {
    if (Status seen = read_after(); !seen) return pass(seen);
    ProveOptions o;
    o.job = job_;
    Result<Answer> proof = did("prove " + job_, prove_job(inner_, o), true);
    if (!proof || broken_off_) return proof;
    std::string typed = "prove " + job_;
    for (const json::value& t : proof->data.at("to_try").as_array()) {
        o.tried.push_back(std::to_string(t.at("number").to_number<int>()));
        typed += " --tried " + o.tried.back();
    }
    if (o.tried.empty()) return proof;
    return did(typed, prove_job(inner_, o));
}

Status Rehearsal::hand_over() {
    Result<Answer> a =
        did("job return " + job_ + " keeping-1 --by " + in_quotes(kWho), job_return(inner_, {job_, "keeping-1", kWho}));
    if (!a) return pass(a);
    Result<book::Job> job = load_job(inner_, job_);
    if (!job) return pass(job);
    for (const book::LooseEnd& end : job->open_ends()) {
        JobLooseEndsOptions o;
        o.job = job_;
        o.sign = end.id;
        o.by = kWho;
        o.reason = "rehearsal on a virtual set";
        a = did(fmt::format("job loose-ends {} --sign {} --by {} --reason {}", job_, end.id, in_quotes(kWho),
                            in_quotes(o.reason)),
                job_loose_ends(inner_, o));
        if (!a) return pass(a);
    }
    a = did("handover make " + job_ + " --out sheet", handover(inner_, {job_, (folder_ / "sheet").string()}));
    if (!a) return pass(a);
    std::error_code ec;
    for (const auto& entry : fs::directory_iterator(folder_ / "sheet", ec)) {
        const std::string name = "sheet/" + entry.path().filename().string();
        files_.push_back(name);
        if (entry.path().extension() != ".html") continue;
        a = did("handover check " + name, handover_check(inner_, {entry.path().string()}));
        if (!a) return pass(a);
    }
    return {};
}

Result<Answer> Rehearsal::closing(const Answer& proof) {
    Answer out;
    out.headline = fmt::format("Rehearsed {} to {} in {} of virtual time: {}", options_.from, options_.to,
                               human_duration(ran_s_), proof.headline);
    out.judgement = proof.judgement;
    out.data["folder"] = folder_.string();
    out.data["job"] = job_;
    out.data["virtual_s"] = ran_s_;
    out.data["broken_off"] = broken_off_;
    if (cut_) {
        json::array said;
        const std::string came = cut_->came == standin::Fate::same_card
                                     ? std::string(cutmap::code(cutmap::Outcome::same_card))
                                     : json_word(standin::words(cut_->came));
        for (const cutmap::Outcome o : cut_->map_said) said.push_back(json::string(cutmap::code(o)));
        out.data["cut"] = {{"release", cut_->release}, {"act", cut_->act}, {"cell", cut_->cell},
                           {"at_s", cut_->at_s},       {"map_said", said}, {"came", came},
                           {"agree", cut_->agree()}};
        if (!cut_->agree())
            out.judgement.add({"map-and-stand-in-differ", Verdict::halt,
                               "the virtual set did what the power-cut map did not name: a defect in one of them",
                               cut_->act, "rehearsal"});
    }
    json::array files;
    out.text = "\nLeft in " + folder_.string() + ":\n  home/ (book, shelf, key), packages/, as-found.txt\n";
    for (const std::string& f : files_) {
        out.text += "  " + f + "\n";
        files.push_back(json::string(f));
    }
    out.data["files"] = files;
    out.text +=
        "Try next:\n"
        "  fettle card audit IMAGE|DEVICE     is a card of your own good? it only reads\n"
        "  fettle rehearse --cut-at 700       cut the power in the middle, and see whether the map was right\n" +
        fmt::format("  fettle --home {} job show {} --entries\n", (folder_ / "home").string(), job_);
    return out;
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
    Result<Answer> done = whole_job();
    if (!done) clear_away();
    half_.reset();
    return done;
}

Result<Answer> Rehearsal::whole_job() {
    if (Status s = prepare(); !s) return pass(s);
    if (Status s = take_in(); !s) return pass(s);
    if (Status s = shelve(); !s) return pass(s);
    if (Status s = read_before(); !s) return pass(s);
    const Result<Plan> planned = plan();
    if (!planned) return pass(planned);
    int step = 0;
    for (const PlanStep& s : planned->steps) {
        ++step;
        if (Status laid = lay_and_audit(s.release.release); !laid) return pass(laid);
        if (Status ready = make_ready(step); !ready) return pass(ready);
        if (Status ran = run_step(step, s); !ran) return pass(ran);
        if (broken_off_) break;
    }
    Result<Answer> proof = prove();
    if (!proof) return proof;
    if (Status sealed = hand_over(); !sealed) return pass(sealed);
    say("\n");
    return closing(*proof);
}

Result<Answer> rehearse(Context& context, const RehearseOptions& options) {
    if (!(options.speed > 0 && options.speed <= 1e6))
        return usage_error("bad-speed", "--speed", "not between 0 and 1000000", "write e.g. --speed 60");
    if (options.cut_at && !(*options.cut_at >= 0))
        return usage_error("bad-cut", "--cut-at", "not a number of seconds from 0", "write e.g. --cut-at 700");
    Rehearsal rehearsal(context, options);
    return rehearsal.run();
}

}  // namespace fettle::app
