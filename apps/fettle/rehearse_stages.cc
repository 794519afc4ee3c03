// The stages of a rehearsal from take-in to the start of a run, each by the command that a technician would type.
#include <fmt/core.h>

#include <algorithm>

#include "cmd_card.h"
#include "cmd_identity.h"
#include "cmd_job.h"
#include "cmd_link.h"
#include "cmd_plan.h"
#include "cmd_ready.h"
#include "cmd_shelf.h"
#include "fettle/base/text.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/store.h"
#include "rehearsal.h"

namespace fettle::app {
namespace fs = std::filesystem;

Status Rehearsal::take_in() {
    JobOpenOptions o;
    o.ask.customer = "1007";
    o.ask.vehicle = "Vellmoor estate (invented)";
    o.ask.complaint = "Goes dark now and then";
    for (const family::Release& r : releases_)  // one that the release is said to cure
        if (r.release == to_ && !r.cures.empty()) o.ask.complaint = r.cures.front();
    o.ask.housings = static_cast<int>(plates_.size());
    for (const auto& [role, plate] : plates_) o.ask.plates.push_back(plate);
    o.keep = {"card slot: owner's map card #blue"};
    o.ask.consents = {"one-way"};
    o.ask.by = kRehearsedBy;
    server_->with([&](standin::VirtualSet& set) { o.ask.vin = set.vin(); });
    std::string typed = fmt::format("job open --customer 1007 --complaint {} --keep {}", in_quotes(o.ask.complaint),
                                    in_quotes(o.keep[0]));
    for (const auto& p : o.ask.plates) typed += " --plate " + p;
    Result<Answer> a = did(typed + " --consent one-way", job_open(inner_, o));
    if (!a) return pass(a);
    job_ = std::string(a->data.at("job").as_string());
    inner_.job = job_;
    return {};
}

Status Rehearsal::shelve() {
    if (own_shelf_) return {};
    for (const family::Release& r : releases_) {
        workshop::ShelveRequest o;
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
    workshop::IdentifyRequest id;
    std::string typed = "identify";
    for (const auto& [role, plate] : plates_) {
        id.plates.push_back(plate);
        typed += " " + plate;
    }
    id.views = {from_ + (market_.empty() ? "" : " " + market_)};
    id.housings = static_cast<int>(plates_.size());
    Result<Answer> a = did(typed + " --view " + in_quotes(id.views[0]) + " --job " + job_, identify(inner_, id));
    if (!a) return pass(a);
    if (!reads_pieces()) return {};
    workshop::ReadRequest read;
    read.at = addresses();
    read.family = family_->id;
    read.save = (folder_ / "as-found.txt").string();
    std::error_code ec;
    std::filesystem::remove(read.save, ec);  // of one that was killed here; gone on with, it reads again
    a = did("link read " + at_typed() + " --save as-found.txt --job " + job_, link_read(inner_, read));
    if (!a) return pass(a);
    workshop::MemoryRequest faults;
    faults.at = addresses();
    faults.family = family_->id;
    a = did("link faults " + at_typed() + " --when before --job " + job_, link_faults(inner_, faults));
    if (!a) return pass(a);
    return {};
}

Result<Plan> Rehearsal::plan() {
    PlanOptions o;
    o.ask.to = to_;
    std::string typed = fmt::format("plan --job {} --to {}", job_, to_);
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
    lay.ask.what.release = release;
    lay.ask.what.family = family_->id;
    lay.ask.out = image.string();
    const std::string name = image.filename().string();
    std::error_code ec;
    fs::remove(image, ec);  // of a rehearsal that was ended before its run began
    Result<Answer> a = did(fmt::format("card lay {} --out {} --job {}", release, name, job_), card_lay(inner_, lay));
    if (!a) return pass(a);
    workshop::AuditRequest audit;
    audit.card = image.string();
    audit.release = release;
    audit.family = family_->id;
    a = did(fmt::format("card audit {} --release {} --job {}", name, release, job_), card_audit(inner_, audit));
    if (!a) return pass(a);
    return put_in(release);
}

Status Rehearsal::put_in(const std::string& release) {
    const std::string name = "card-" + release + ".img";
    Result<std::unique_ptr<card::BlockDevice>> device = card::open_for_reading(folder_ / name);
    if (!device) return pass(device);
    server_->with([&](standin::VirtualSet& set) { set.insert_card(**device); });
    card_ = std::move(*device);  // the one before is let go only now that nothing reads it
    files_.push_back(name);
    return {};
}

Status Rehearsal::make_ready(int step) {
    workshop::AnswerRequest o;
    o.job = job_;
    o.answers = {"person=yes",      "call=staying",        "support=yes",      "supply.volts=13.5", "supply.limit=10",
                 "supply.lead_m=2", "supply.lead_mm2=2.5", "supply.fused=yes", "slots=empty",       "holds=yes"};
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
        a = did(fmt::format("ready accept {} {} --by {} --reason rehearsal", job_, code, in_quotes(kRehearsedBy)),
                ready_accept(inner_, {job_, code, kRehearsedBy, "rehearsal on a virtual set", step}));
        if (!a) return pass(a);
    }
    return {};
}

}  // namespace fettle::app
