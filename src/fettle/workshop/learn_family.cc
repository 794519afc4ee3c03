#include "fettle/workshop/learn_family.h"

#include <fmt/core.h>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/family_acts.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::workshop {
namespace fs = std::filesystem;
namespace {

Result<const book::Run*> run_of(const book::Job& job, int wanted) {
    if (job.runs.empty())
        return bad_input("no-run", "job " + job.number, "no run was begun",
                         Next{"watch one: ", propose(Act::watch, {fettle::job(job.number), flag("start"),
                                                                  fettle::wanted("by", "NAME")})});
    if (wanted < 0 || wanted > static_cast<int>(job.runs.size()))
        return usage_error("run-not-there", with(given("run", std::to_string(wanted))),
                           fmt::format("the job has {}", plural(job.runs.size(), "run")), "name one of them");
    const book::Run* out = wanted > 0 ? &job.runs[static_cast<std::size_t>(wanted) - 1] : nullptr;
    for (const book::Run& r : job.runs)
        if (wanted == 0 && r.outcome == RunState::ended) out = &r;
    if (!out || out->outcome != RunState::ended || !out->ended)
        return bad_input(
            "run-not-to-its-end", "job " + job.number,
            wanted > 0 ? fmt::format("run {} did not come to its end", wanted) : std::string("no run came to its end"),
            Next{"only a good run shows how a good run goes; mark its end: ",
                 propose(Act::mark, {fettle::job(job.number), given("event", "ended")})});
    return out;
}

// The card that the run was made with: laid for this job before it, audited good, MBR and FAT32 as Fettle lays.
std::optional<learn::AcceptedCard> card_of(const JobRecord& record, const book::Job& job, const book::Run& run) {
    if (!job.card_audited_good) return std::nullopt;
    std::optional<learn::AcceptedCard> out;
    for (const book::Entry& e : record.entries) {
        if (e.type != "laid" || e.at > run.started) continue;
        const auto v = parse_json(e.data, "laid");
        if (!v || !v->is_object()) continue;
        const double bytes = number_of(v->get_object(), "cluster_bytes");
        const auto kib = static_cast<std::uint32_t>(bytes / 1024);
        out = kib > 0 ? std::optional(learn::AcceptedCard{"fat32", kib}) : std::nullopt;
    }
    return out;
}

learn::Seen seen_in(const JobRecord& record, const book::Job& job, const book::Run& r) {
    learn::Seen seen;
    seen.run = r.id;
    seen.day = iso8601(r.started).substr(0, 10);
    seen.ended = *r.ended;
    seen.observed = watch::with_end(observed(r, job.place != Place::vehicle));
    std::erase_if(seen.observed.marks, [](const watch::Mark& m) { return m.undone; });
    for (const book::RunMark& m : r.marks)
        if (!m.undone && !m.how.empty()) seen.replies.push_back({m.at, m.how, m.area});
    seen.card = card_of(record, job, r);
    return seen;
}

// Takes the accepted lines into the file, unless that would weaken it in nobody's name.
Status take_in(const LearnRequest& request, const std::string& text, const learn::Seen& seen, LearntFamily& out) {
    const std::string by(trim(request.allowed_by));
    for (const int n : out.accepted)
        if (out.learnt.lines[static_cast<std::size_t>(n) - 1].loosens && by.empty()) out.unnamed.push_back(n);
    if (!out.unnamed.empty()) {
        out.judgement.add({"learn-loosens", Verdict::halt,
                           "what weakens a figure or a rule that the file holds needs somebody's name", request.file,
                           "family file", Next{"give it: ", with(fettle::wanted("allowed-by", "NAME"))}});
        return {};
    }
    const auto next = learn::apply(text, seen, out.learnt, out.accepted, by);
    if (!next) return pass(next);
    const auto still = family_file_text(request.file);
    if (!still) return pass(still);
    if (*still != text)
        return outside_error("file-changed", request.file, "the file changed while it was read", "learn again");
    if (const Status written = write_file_durably(request.file, *next); !written) return written;
    out.written = true;
    return {};
}

bool stands_in(const fs::path& file, const fs::path& folder) {
    std::error_code ec;
    return fs::equivalent(file.parent_path().empty() ? "." : file.parent_path(), folder, ec) && !ec;
}

}  // namespace

Result<LearntFamily> learn_family(const Workshop& shop, const LearnRequest& request) {
    if (request.job.empty())
        return usage_error("job-missing", with(flag("job")), "whose run is to be learnt from is not said",
                           Next{"give ", with(wanted("job", "J"))});
    if (stands_in(request.file, shop.families_folder()))
        return bad_input(
            "file-in-use", request.file, "is in use here, and jobs hold on to its digest",
            Next{"copy it, learn into the copy, then: ", propose(Act::add_family, {fettle::wanted("file", "COPY")})});
    const auto text = family_file_text(request.file);
    if (!text) return pass(text);
    const auto family = family::load_family(request.file);
    if (!family) return pass(family);
    const auto record = read_job(shop, request.job);
    if (!record) return pass(record);
    const auto job = job_of(*record);
    if (!job) return pass(job);
    if (!job->family.empty() && job->family != family->id)
        return bad_input("family-another", request.file,
                         fmt::format("is of family {}; the job's boxes are of {}", family->id, job->family),
                         "learn into the file of that family");
    const auto run = run_of(*job, request.run);
    if (!run) return pass(run);

    LearntFamily out;
    out.file = request.file;
    out.job = job->number;
    out.family = family->id;
    out.level = family->level;
    out.run = static_cast<std::size_t>(*run - job->runs.data()) + 1;
    out.run_id = (*run)->id;
    learn::Seen seen = seen_in(*record, *job, **run);
    RecordedSupply supply = recorded_supply(shop, job->number, out.run, **run);
    if (!supply.changed) seen.observed.supply = std::move(supply.samples);
    out.learnt = learn::learn(*family, *text, seen);
    if (supply.changed)
        out.learnt.not_learnt.push_back("current: the recorded supply is not what the journal knows by its digest");
    for (const std::string& c : out.learnt.contradicts)
        out.judgement.add({"run-contradicts", Verdict::mind, printable(c), "run", "this run's journal"});
    const std::size_t lines = out.learnt.lines.size();
    const auto accepted =
        numbers_of(request.accept, lines, fmt::format("names no line; there {} {}", lines == 1 ? "is" : "are", lines),
                   "give a number, a range such as 2-5, or all");
    if (!accepted) return pass(accepted);
    for (const std::size_t n : *accepted) out.accepted.insert(static_cast<int>(n));
    if (out.accepted.empty()) return out;
    if (const Status taken = take_in(request, *text, seen, out); !taken) return pass(taken);
    return out;
}

}  // namespace fettle::workshop
