#include "fettle/book/job.h"

#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/book/correct.h"
#include "fettle/book/fold.h"
#include "fettle/book/tail.h"

namespace fettle::book {

bool Job::is_open_run() const {
    return !runs.empty() && runs.back().outcome == RunState::open;
}

std::string Job::found_words() const {
    std::string out = release_found;
    for (const auto& [role, release] : releases_found)
        out += (out.empty() ? "" : ", ") + role + " " + (release.empty() ? "not read" : release);
    return out;
}

const FaultRecord& Job::faults_now() const {
    return faults_cleared.entry > faults_after.entry ? faults_cleared : faults_after;
}

std::vector<LooseEnd> Job::open_ends() const {
    std::vector<LooseEnd> open;
    for (const LooseEnd& e : loose_ends)
        if (e.open() && e.blocks) open.push_back(e);
    return open;
}

namespace {

void note_clock(Job& job, const ReadEntry& r) {
    ClockKept now = clock_of(r.entry.at, r.data);
    const auto step = clock_set_by(job.clocks, job.last_entry, now);
    if (step && !job.runs.empty()) job.runs.back().clock_set.push_back({r.entry.number, *step});
    keep_clock(job.clocks, std::move(now));
}

// An end that was taken back, and what was reckoned from it, have not been.
std::set<std::int64_t> ends_taken_back(const std::vector<ReadEntry>& entries) {
    std::set<std::int64_t> named, out;
    for (const ReadEntry& r : entries) {
        const auto* n = r.entry.type == "unmark" ? r.data.if_contains("entry") : nullptr;
        if (n && n->is_int64()) named.insert(n->get_int64());
    }
    for (const ReadEntry& r : entries)
        if ((r.entry.type == "ended" || r.entry.type == "times") && named.contains(r.entry.number))
            out.insert(r.entry.number);
    return out;
}

Result<Job> folded_onto(Job job, const std::vector<ReadEntry>& entries) {
    const std::set<std::int64_t> taken_back = ends_taken_back(entries);
    for (const ReadEntry& r : entries) {
        note_clock(job, r);
        job.last_entry = r.entry.at;
        job.last_number = r.entry.number;
        const std::string place = fmt::format("entry {} ({})", r.entry.number, printable(r.entry.type));
        if ((r.entry.type == "opened") != (r.entry.number == 1))
            return bad_input("entry-malformed", place, "\"opened\" must be entry 1, and only there",
                             Next{"check the chain (", propose(Act::show_job, {fettle::job(job.number)}), ")"});
        if (taken_back.contains(r.entry.number)) continue;
        const Apply apply = apply_for(r.entry.type);
        if (!apply) {
            ++job.unknown_entries;
            continue;
        }
        Members members(r.data, place);
        apply(job, r.entry, members);
        if (auto ok = members.status(); !ok) return pass(ok);
    }
    return job;
}

// One entry by itself, on a job that has a run, so that everything about a run is read.
void apply_alone(Apply apply, std::string_view type, Members& members) {
    Job scratch;
    scratch.runs.emplace_back();
    Entry entry;
    entry.number = 1;
    entry.type = type;
    apply(scratch, entry, members);
}

}  // namespace

Result<Job> fold(std::string_view number, const std::vector<Entry>& entries) {
    auto read = read_entries(entries);
    if (!read) return pass(read);
    Job job;
    job.number = number;
    job.corrections = apply_corrections(*read);
    return folded_onto(std::move(job), *read);
}

Result<Job> fold_on(Job job, const std::vector<Entry>& entries) {
    const auto read = read_entries(entries);
    if (!read) return pass(read);
    return folded_onto(std::move(job), *read);
}

bool any_corrects(const std::vector<Entry>& entries) {
    return std::any_of(entries.begin(), entries.end(), [](const Entry& e) { return e.type == "corrects"; });
}

bool takes_end_back(const Job& job, const std::vector<Entry>& entries) {
    std::set<std::int64_t> ends;
    for (const Run& r : job.runs) {
        ends.insert(r.ended_entry);
        if (r.times) ends.insert(r.times->entry);
    }
    const auto read = read_entries(entries);
    return read && std::any_of(read->begin(), read->end(), [&](const ReadEntry& r) {
               const auto* n = r.entry.type == "unmark" ? r.data.if_contains("entry") : nullptr;
               return n && n->is_int64() && ends.contains(n->get_int64());
           });
}

std::vector<std::string> members_of(std::string_view type) {
    const Apply apply = apply_for(type);
    if (!apply) return {};
    const json::object nothing;
    Members members(nothing, "");
    apply_alone(apply, type, members);
    return {members.asked().begin(), members.asked().end()};
}

Status check_entry(std::string_view type, std::string_view data) {
    const std::string place = "\"" + printable(type) + "\" entry";
    auto parsed = parse_json(data, place);
    if (!parsed) return pass(parsed);
    if (!parsed->is_object())
        return bad_input("entry-malformed", place, "its data is not one JSON object", "see docs/journal.md");
    const Apply apply = apply_for(type);
    if (!apply) return {};
    Members members(parsed->get_object(), place);
    apply_alone(apply, type, members);
    return members.status();
}

}  // namespace fettle::book
