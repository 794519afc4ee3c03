// The end of a rehearsal: what was left is read, proved and handed over.
#include <algorithm>
#include <system_error>

#include "fettle/rehearse/practice.h"
#include "fettle/workshop/after.h"
#include "fettle/workshop/hand_over.h"
#include "fettle/workshop/keep_thing.h"
#include "fettle/workshop/loose_ends.h"
#include "fettle/workshop/read_faults.h"
#include "fettle/workshop/read_link.h"
#include "fettle/workshop/store.h"

namespace fettle::rehearse {
namespace fs = std::filesystem;
namespace {

// Without a link: what a person can see of the version view, and the fault memory as not read.
Status look_after(Practice& p) {
    if (!p.so_far.broken_off) {
        workshop::AfterRequest r;
        r.job = p.job();
        p.bench->with([&](standin::VirtualSet& set) { r.release = set.release(p.family.boxes.front().role); });
        const auto left = p.did(p.about_job({given("release", r.release)}), workshop::keep_as_left(p.shop, r));
        if (!left) return pass(left);
    }
    const workshop::TypedFaults not_read{p.job(), workshop::Moment::after, {}, {}};
    const auto kept =
        p.did(p.about_job({given("when", "after"), flag("none-read")}), workshop::keep_typed_faults(p.shop, not_read));
    if (!kept) return pass(kept);
    return {};
}

std::vector<Argument> at_all(const std::vector<std::string>& addresses) {
    std::vector<Argument> out;
    for (const std::string& a : addresses) out.push_back(given("at", a));
    out.push_back(given("when", "after"));
    return out;
}

Status give_back(Practice& p) {
    const Result<book::Job> job = workshop::load_job(p.shop, p.job());
    if (!job) return pass(job);
    for (const Keeping& k : job->keepings) {
        if (k.returned) continue;
        const auto back = p.did(p.about_job({given("id", k.id), given("by", kTechnician)}),
                                workshop::return_thing(p.shop, {p.job(), k.id, kTechnician}));
        if (!back) return pass(back);
    }
    return {};
}

Status sign_for_the_rest(Practice& p) {
    const Result<book::Job> job = workshop::load_job(p.shop, p.job());
    if (!job) return pass(job);
    for (const book::LooseEnd& end : job->open_ends()) {
        const auto signed_for =
            p.did(p.about_job({given("sign", end.id), given("by", kTechnician), given("reason", kWhy)}),
                  workshop::sign_loose_end(p.shop, {p.job(), end.id, kWhy, kTechnician}));
        if (!signed_for) return pass(signed_for);
    }
    return {};
}

}  // namespace

Status read_after(Practice& p) {
    if (!p.bench->reads_pieces()) return look_after(p);
    workshop::ReadRequest read;
    read.at = p.bench->addresses();
    read.job = p.job();
    read.family = p.family.id;
    read.when = workshop::Moment::after;
    const std::vector<Argument> said = p.about_job(at_all(read.at));
    auto boxes = workshop::read_boxes(p.shop, read);
    if (!boxes && p.so_far.broken_off) {  // nobody answers any more: that is written down as not read
        p.tell(Done{NoAnswer{&boxes.error()}, said, false});
        return look_after(p);
    }
    if (boxes = p.did(said, std::move(boxes)); !boxes) return pass(boxes);
    workshop::MemoryRequest memory;
    memory.at = read.at;
    memory.job = p.job();
    memory.family = p.family.id;
    memory.when = workshop::Moment::after;
    const auto faults = p.did(p.about_job(at_all(memory.at)), workshop::read_faults(p.shop, memory));
    if (!faults) return pass(faults);
    return {};
}

Status prove(Practice& p) {
    if (Status seen = read_after(p); !seen) return seen;
    workshop::ProveRequest r;
    r.job = p.job();
    auto proof = p.did(p.about_job(), workshop::prove_job(p.shop, r), true);
    if (!proof) return pass(proof);
    std::vector<Argument> said;
    for (const workshop::ToTry& t : proof->to_try) {
        r.tried.push_back(std::to_string(t.number));
        said.push_back(given("tried", r.tried.back()));
    }
    if (!p.so_far.broken_off && !r.tried.empty()) {
        proof = p.did(p.about_job(std::move(said)), workshop::prove_job(p.shop, r));
        if (!proof) return pass(proof);
    }
    p.so_far.proof = std::move(*proof);
    return {};
}

Status hand_over(Practice& p) {
    if (Status s = give_back(p); !s) return s;
    if (Status s = sign_for_the_rest(p); !s) return s;
    const fs::path folder = p.folder / "sheet";
    const auto made = p.did(p.about_job({given("out", "sheet")}),
                            workshop::hand_over(p.shop, {p.job(), folder.string(), p.request.check_with}));
    if (!made) return pass(made);
    const std::string name = "sheet/" + fs::path(made->file).filename().string();
    p.so_far.files.push_back(name);
    const auto checked =
        p.did({given("file", name)}, workshop::check_sheet(p.shop, {made->file, p.request.check_with}));
    if (!checked) return pass(checked);
    return {};
}

}  // namespace fettle::rehearse
