// The stages from take-in to the start of a run, each by the act that a technician would do.
#include <algorithm>
#include <system_error>

#include "fettle/base/files.h"
#include "fettle/ready/ready.h"
#include "fettle/rehearse/practice.h"
#include "fettle/workshop/audit_card.h"
#include "fettle/workshop/identify.h"
#include "fettle/workshop/lay_card.h"
#include "fettle/workshop/plan_job.h"
#include "fettle/workshop/read_faults.h"
#include "fettle/workshop/read_link.h"
#include "fettle/workshop/ready_job.h"
#include "fettle/workshop/shelf_acts.h"
#include "fettle/workshop/take_in.h"

namespace fettle::rehearse {
namespace fs = std::filesystem;
namespace {

constexpr const char* kList = "as-found.txt";

void add_all(std::vector<Argument>& to, const std::string& name, const std::vector<std::string>& values) {
    for (const std::string& v : values) to.push_back(given(name, v));
}

std::vector<std::string> plates_of(const Practice& p) {
    std::vector<std::string> out;
    for (const auto& [role, plate] : p.bench->plates()) out.push_back(plate);
    return out;
}

// One that the release is said to cure.
std::string complaint_of(const Practice& p) {
    for (const family::Release& r : p.releases)
        if (r.release == p.saved.to && !r.cures.empty()) return r.cures.front();
    return "Goes dark now and then";
}

std::vector<std::string> answers_of(const family::Family& family) {
    std::vector<std::string> out{"person=yes",      "call=staying",    "support=yes",         "supply.volts=13.5",
                                 "supply.limit=10", "supply.lead_m=2", "supply.lead_mm2=2.5", "supply.fused=yes",
                                 "slots=empty",     "holds=yes"};
    for (const family::Act& a : family.script) {
        if (a.kind == family::ActKind::ask) out.push_back(a.id + "=answers");
        if (!a.wake.empty()) out.push_back("wake." + a.id + "=yes");
    }
    return out;
}

}  // namespace

Status take_in(Practice& p) {
    const Keeping kept{{}, "owner's map card", "card slot", "blue"};
    workshop::TakeInRequest r;
    r.customer = "1007";
    r.vehicle = "Vellmoor estate (invented)";
    r.complaint = complaint_of(p);
    r.plates = plates_of(p);
    r.housings = static_cast<int>(r.plates.size());
    r.keep = {kept};
    r.consents = {"one-way"};
    r.by = kTechnician;
    p.bench->with([&](standin::VirtualSet& set) { r.vin = set.vin(); });
    std::vector<Argument> said{given("customer", r.customer), given("complaint", r.complaint),
                               given("keep", workshop::words_of(kept))};
    add_all(said, "plate", r.plates);
    said.push_back(given("consent", "one-way"));
    const auto taken = p.did(std::move(said), workshop::take_in(p.shop, r));
    if (!taken) return pass(taken);
    p.saved.job = taken->job;
    return {};
}

Status shelve(Practice& p) {
    if (p.saved.own_shelf) return {};
    for (const family::Release& r : p.releases) {
        workshop::ShelveRequest request;
        request.package = (p.folder / "packages" / r.release).string();
        request.family = p.family.id;
        request.from = "made by this rehearsal";
        request.right = "own-work";
        const auto shelved =
            p.did({given("package", "packages/" + r.release), given("from", request.from), given("right", "own-work")},
                  workshop::shelve(p.shop, request));
        if (!shelved) return pass(shelved);
        if (shelved->refused) return tl::unexpected(*shelved->refused);
    }
    return {};
}

Status read_before(Practice& p) {
    workshop::IdentifyRequest who;
    who.plates = plates_of(p);
    who.views = {p.saved.from + (p.bench->market().empty() ? "" : " " + p.bench->market())};
    who.housings = static_cast<int>(who.plates.size());
    who.job = p.job();
    std::vector<Argument> said;
    add_all(said, "label", who.plates);
    said.push_back(given("view", who.views.front()));
    said.push_back(job(p.job()));
    if (const auto known = p.did(std::move(said), workshop::identify(p.shop, who)); !known) return pass(known);
    if (!p.bench->reads_pieces()) return {};

    workshop::ReadRequest read;
    read.at = p.bench->addresses();
    read.job = p.job();
    read.family = p.family.id;
    read.save = (p.folder / kList).string();
    std::error_code ec;
    fs::remove(read.save, ec);  // of one that was killed here; gone on with, it reads again
    said.clear();
    add_all(said, "at", read.at);
    said.push_back(given("save", kList));
    if (const auto boxes = p.did(p.about_job(said), workshop::read_boxes(p.shop, read)); !boxes) return pass(boxes);

    workshop::MemoryRequest memory;
    memory.at = read.at;
    memory.job = p.job();
    memory.family = p.family.id;
    said.clear();
    add_all(said, "at", memory.at);
    said.push_back(given("when", "before"));
    if (const auto faults = p.did(p.about_job(said), workshop::read_faults(p.shop, memory)); !faults)
        return pass(faults);
    return {};
}

Result<plan::Plan> make_plan(Practice& p) {
    workshop::PlanAsk ask;
    ask.job = p.job();
    ask.to = p.saved.to;
    std::vector<Argument> said{given("to", ask.to)};
    if (p.bench->reads_pieces()) {
        auto list = read_text_file(p.folder / kList);
        if (!list) return pass(list);
        ask.as_found = workshop::ListText{std::move(*list), kList};
        said.push_back(given("as-found", kList));
    }
    if (const auto planned = p.did(p.about_job(said), workshop::plan_job(p.shop, ask), true); !planned)
        return pass(planned);
    Result<workshop::JobRun> run = workshop::load_job_run(p.shop, p.job());
    if (!run) return pass(run);
    return std::move(run->plan);
}

Status lay_and_audit(Practice& p, const std::string& release) {
    const std::string name = "card-" + release + ".img";
    const fs::path image = p.folder / name;
    std::error_code ec;
    fs::remove(image, ec);  // of a rehearsal that was ended before its run began
    workshop::LayRequest lay;
    lay.what.release = release;
    lay.what.family = p.family.id;
    lay.out = image.string();
    lay.job = p.job();
    const auto laid =
        p.did({given("release", release), given("out", name), job(p.job())}, workshop::lay_card(p.shop, lay));
    if (!laid) return pass(laid);
    workshop::AuditRequest audit;
    audit.card = image.string();
    audit.release = release;
    audit.family = p.family.id;
    audit.job = p.job();
    const auto audited =
        p.did({given("file", name), given("release", release), job(p.job())}, workshop::audit_card(p.shop, audit));
    if (!audited) return pass(audited);
    return put_in(p, release);
}

Status put_in(Practice& p, const std::string& release) {
    const std::string name = "card-" + release + ".img";
    if (Status s = p.bench->put_in(p.folder / name); !s) return s;
    p.so_far.files.push_back(name);
    return {};
}

Status make_ready(Practice& p, int step) {
    const workshop::AnswerRequest answers{p.job(), answers_of(p.family)};
    std::vector<Argument> said;
    add_all(said, "answer", answers.answers);
    if (const auto kept = p.did(p.about_job(said), workshop::answer(p.shop, answers)); !kept) return pass(kept);
    const auto checked =
        p.did(p.about_job({given("step", std::to_string(step))}), workshop::check_ready(p.shop, {p.job(), step}));
    if (!checked) return pass(checked);
    for (const Reason& r : checked->may.standing) {
        const std::string code = ready::acceptance_key(r);
        const auto accepted =
            p.did(p.about_job({given("code", code), given("by", kTechnician), given("reason", "rehearsal")}),
                  workshop::accept(p.shop, {p.job(), code, kTechnician, kWhy, step}));
        if (!accepted) return pass(accepted);
    }
    return {};
}

}  // namespace fettle::rehearse
