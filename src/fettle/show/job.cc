#include "fettle/show/job.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/job_json.h"
#include "fettle/show/job_page.h"

namespace fettle::show {
namespace {

// The common shape of what appends one entry: `data` is the entry's.
Answer appended(const std::string& job, std::string headline, json::object data) {
    Answer a;
    a.headline = std::move(headline);
    a.data = {{"job", job}, {"appended", std::move(data)}};
    a.verdict_matters = false;
    return a;
}

std::string lines_of(const std::vector<Keeping>& things) {
    std::string out;
    for (const Keeping& t : things) out += fmt::format("  {}: {}\n", t.id, workshop::words_of(t));
    return out;
}

json::object thing_as_json(const Keeping& t) {
    return {{"id", t.id}, {"words", t.words}, {"slot", t.slot}, {"tag", t.tag}};
}

std::string worth_lines(const workshop::TakenIn& taken) {
    if (!taken.family_known)
        return "  Worth doing? Without a plate that is known here there are no release notes to ask.\n";
    if (taken.worth.empty()) return "  Worth doing? Nothing is known about it in the release notes.\n";
    std::string out;
    for (const workshop::WorthDoing& w : taken.worth)
        out += fmt::format("  Worth doing? The notes of {} {} say: \"{}\".\n", w.family, w.cure.release, w.cure.text);
    return out;
}

std::string state_of(const workshop::ListedJob& j) {
    if (j.run_open) return "a run is under way";
    if (j.handed_over) return "handed over";
    if (j.open_ends == 0) return "nothing open";
    return fmt::format("{} open end{}", j.open_ends, j.open_ends == 1 ? "" : "s");
}

std::string line_of(const workshop::ListedJob& j) {
    if (!j.readable)
        return fmt::format("  {}  RECORD BROKEN{}\n", j.number,
                           j.broken ? fmt::format(" at entry {}: {}", j.broken->number, j.broken->why) : "");
    return fmt::format("  {}  {}  customer {:<8} {:<18} {}\n", j.number, iso8601(j.opened).substr(0, 10), j.customer,
                       state_of(j), j.complaint);
}

json::object listed_as_json(const workshop::ListedJob& j) {
    if (!j.readable) return {{"job", j.number}, {"chain", "broken"}};
    return {
        {"job", j.number},          {"chain", "holds"},         {"opened", iso8601(j.opened)}, {"customer", j.customer},
        {"complaint", j.complaint}, {"open_ends", j.open_ends}, {"handed_over", j.handed_over}};
}

std::string headline_of(const workshop::ShownJob& shown) {
    const workshop::JobRecord& r = shown.record;
    if (r.broken)
        return fmt::format(
            "Job {}: the record is BROKEN at entry {}: {}. From there on nothing of it is to be "
            "trusted.",
            r.number, r.broken->number, r.broken->why);
    return fmt::format("Job {}, opened {}: the record is whole, {} entries.", r.number,
                       iso8601(shown.job ? shown.job->opened : 0).substr(0, 10), r.entries.size());
}

json::object chain_as_json(const workshop::JobRecord& r) {
    if (r.broken) return {{"holds", false}, {"entry", r.broken->number}, {"why", r.broken->why}};
    return {{"holds", true}, {"entries", r.entries.size()}, {"head", r.entries.empty() ? "" : r.entries.back().digest}};
}

json::object entry_as_json(const book::Entry& e) {
    return {{"number", e.number}, {"at", iso8601(e.at)}, {"type", e.type}, {"data", e.data}, {"digest", e.digest}};
}

}  // namespace

Answer taken_in(const workshop::TakenIn& taken) {
    Answer a;
    a.judgement = taken.judgement;
    a.headline = fmt::format("Job {} is open.", taken.job);
    a.text = lines_of(taken.kept);
    if (taken.complains) a.text += worth_lines(taken);
    a.data = {{"worth", list_as_json(taken.worth,
                                     [](const workshop::WorthDoing& w) {
                                         return json::object{
                                             {"family", w.family}, {"release", w.cure.release}, {"text", w.cure.text}};
                                     })},
              {"job", taken.job},
              {"keepings", taken.kept.size()}};
    return a;
}

Answer job_list(const workshop::JobList& list) {
    Answer a;
    a.verdict_matters = false;
    const std::size_t n = list.jobs.size();
    a.headline = !list.no_book_in.empty()
                     ? fmt::format("No bench book in {}: the first job that is opened there makes one.",
                                   printable(list.no_book_in))
                 : n == 0 ? "No job in this bench book."
                          : fmt::format("{} job{} in this bench book.", n, n == 1 ? "" : "s");
    for (const workshop::ListedJob& j : list.jobs) a.text += line_of(j);
    a.data = {{"jobs", list_as_json(list.jobs, listed_as_json)}};
    return a;
}

Answer job_shown(const workshop::ShownJob& shown, bool entries) {
    Answer a;
    a.judgement = shown.judgement;
    a.headline = headline_of(shown);
    a.bad_input = shown.record.broken.has_value();
    a.data["chain"] = chain_as_json(shown.record);
    if (shown.job) {
        a.text = job_page(*shown.job);
        a.data["job"] = job_as_json(*shown.job);
    } else {
        a.text = "The entries cannot be added up: " + shown.why_not + "\n";
    }
    if (!entries) return a;
    a.text += journal_lines(shown.record.entries);
    a.data["entries"] = list_as_json(shown.record.entries, entry_as_json);
    return a;
}

Answer noted(const workshop::Noted& n) {
    json::object data{{"text", n.text}};
    if (!n.by.empty()) data["by"] = n.by;
    return appended(n.job, fmt::format("Noted in job {}.", n.job), std::move(data));
}

Answer consented(const workshop::Consented& c) {
    return appended(c.job, fmt::format("Consent {} in job {}: {}.", c.withdrawn ? "withdrawn" : "noted", c.job, c.what),
                    {{"what", c.what}, {"by", c.by}, {"withdrawn", c.withdrawn}});
}

Answer corrected(const workshop::Corrected& c) {
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("Entry {}: {} was \"{}\", is now \"{}\". The old word stays in the journal.", c.entry,
                             c.field, c.before, c.after);
    a.data = {{"job", c.job}, {"entry", c.entry}, {"field", c.field}, {"before", c.before}, {"after", c.after}};
    return a;
}

Answer things_kept(const workshop::KeptThings& kept) {
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("Kept for the owner in job {}; to go back before the handover.", kept.job);
    a.text = lines_of(kept.things);
    a.data = {{"job", kept.job}, {"kept", list_as_json(kept.things, thing_as_json)}};
    return a;
}

Answer thing_returned(const workshop::ReturnedThing& r) {
    return appended(r.job, fmt::format("{} is back with the owner.", r.words), {{"id", r.id}, {"by", r.by}});
}

Answer loose_ends(const workshop::LooseEnds& ends) {
    Answer a;
    const book::Job& job = ends.job;
    const std::size_t open = job.open_ends().size();
    a.judgement = ends.judgement;
    a.headline = open == 0 ? fmt::format("Job {}: nothing holds up the handover.", job.number)
                           : fmt::format("Job {}: {} open.", job.number, open);
    for (const book::LooseEnd& e : job.loose_ends) a.text += loose_end_line(e);
    a.data = {{"job", job.number}, {"open", open}, {"loose_ends", list_as_json(job.loose_ends, loose_end_as_json)}};
    return a;
}

Answer end_settled(const workshop::EndDone& d) {
    return appended(d.job, fmt::format("Settled: {}.", d.end.words),
                    {{"id", d.end.id}, {"how", d.words}, {"by", d.by}});
}

Answer end_signed(const workshop::EndDone& d) {
    return appended(d.job, fmt::format("Left open and signed for by {}: {}.", d.by, d.end.words),
                    {{"id", d.end.id}, {"by", d.by}, {"reason", d.words}});
}

}  // namespace fettle::show
