#include "fettle/workshop/note_job.h"

#include <fmt/core.h>

#include <algorithm>
#include <tuple>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

Status need(const std::string& said, const Words& option, std::string_view why, const Proposal& whole) {
    if (!trim(said).empty()) return {};
    return usage_error("option-missing", option, std::string(why), Next{"say all of it: ", whole});
}

Next look_at_entries(const std::string& number) {
    return {"look at them: ", propose(Act::show_job, {job(number), flag("entries")})};
}

// A member that the type does not have would be written, and never read.
Status check_member(const JobRecord& record, const CorrectRequest& r, const std::string& place) {
    const auto target = std::find_if(record.entries.begin(), record.entries.end(),
                                     [&](const book::Entry& e) { return e.number == r.entry; });
    if (target == record.entries.end()) return {};
    const std::vector<std::string> members = book::members_of(target->type);
    if (std::find(members.begin(), members.end(), r.field.substr(0, r.field.find('.'))) != members.end()) return {};
    return bad_input(
        "entry-unknown", place,
        fmt::format("an entry of type {} has no such member; it has: {}", target->type, join(members, ", ")),
        look_at_entries(record.number));
}

json::object corrects_data(const CorrectRequest& r, const json::value& value) {
    json::object out{{"entry", r.entry}, {"field", r.field}, {"value", value}, {"why", r.why}, {"by", r.by}};
    if (!r.text.empty()) out["text"] = r.text;
    return out;
}

Result<book::Job> folded_with(const JobRecord& record, const json::object& correction) {
    std::vector<book::Entry> entries = record.entries;
    book::Entry added;
    added.number = static_cast<std::int64_t>(entries.size()) + 1;
    added.type = "corrects";
    added.data = json::serialize(correction);
    entries.push_back(std::move(added));
    return book::fold(record.number, entries);
}

Result<Corrected> corrected_now(const Workshop& shop, const CorrectRequest& r) {
    const auto record = read_job(shop, r.job);
    if (!record) return pass(record);
    const auto now = job_of(*record);
    if (!now) return pass(now);
    const std::string place = fmt::format("entry {}, {}", r.entry, printable(r.field));
    if (auto ok = check_member(*record, r, place); !ok) return pass(ok);

    std::vector<json::value> candidates{json::value(r.value)};
    if (auto parsed = parse_json(r.value, place); parsed && !parsed->is_string()) candidates.push_back(*parsed);
    Error last;
    for (const json::value& value : candidates) {
        json::object data = corrects_data(r, value);
        auto after = folded_with(*record, data);
        if (!after) {
            last = after.error();
            continue;
        }
        const book::Correction& made = after->corrections.back();
        if (made.before.empty() && made.after.empty())
            return bad_input("entry-unknown", place, "there is no such entry, or it has no such member",
                             look_at_entries(record->number));
        if (auto kept = append_entries(shop, record->number, {{"corrects", std::move(data)}}, now->last_number); !kept)
            return pass(kept);
        return Corrected{record->number, r.entry, r.field, made.before, made.after};
    }
    return tl::unexpected<Error>(last);
}

// Appended to a record that can be trusted only.
Result<std::string> add_to(const Workshop& shop, const std::string& number, NewEntry entry) {
    const auto job = load_job(shop, number);
    if (!job) return pass(job);
    if (auto kept = append_entries(shop, job->number, {std::move(entry)}); !kept) return pass(kept);
    return job->number;
}

}  // namespace

Result<Noted> note_job(const Workshop& shop, const NoteRequest& request) {
    const Proposal whole = propose(Act::note, {job(request.job), wanted("text", "TEXT")});
    if (auto ok = need(request.text, "TEXT", "a note says something", whole); !ok) return pass(ok);
    json::object data{{"text", request.text}};
    if (!request.by.empty()) data["by"] = request.by;
    const auto number = add_to(shop, request.job, {"note", std::move(data)});
    if (!number) return pass(number);
    return Noted{*number, request.text, request.by};
}

Result<Consented> note_consent(const Workshop& shop, const ConsentRequest& request) {
    const Proposal whole = propose(Act::consent, {job(request.job), wanted("what", "WHAT"), wanted("by", "NAME")});
    if (auto ok = need(request.what, "WHAT", "what was agreed to?", whole); !ok) return pass(ok);
    if (auto ok = need(request.by, with(flag("by")), "who agreed?", whole); !ok) return pass(ok);
    NewEntry entry{"consent", {{"what", request.what}, {"by", request.by}}};
    if (request.withdraw) {
        const auto job = load_job(shop, request.job);
        if (!job) return pass(job);
        const auto& all = job->consents;
        if (std::find(all.begin(), all.end(), request.what) == all.end())
            return bad_input("consent-not-there", printable(request.what), "nobody agreed to that in this job",
                             Next{"see what stands: ", propose(Act::show_job, {fettle::job(job->number)})});
        entry.data["withdrawn"] = true;
    }
    const auto number = add_to(shop, request.job, std::move(entry));
    if (!number) return pass(number);
    return Consented{*number, request.what, request.by, request.withdraw};
}

Result<Corrected> correct_entry(const Workshop& shop, const CorrectRequest& request) {
    const Proposal whole =
        propose(Act::note, {job(request.job), given("correct", std::to_string(request.entry)), wanted("field", "KEY"),
                            wanted("value", "TEXT"), wanted("why", "TEXT"), wanted("by", "NAME")});
    for (const auto& [said, option, why] :
         {std::tuple{&request.field, "field", "a correction names the member of the entry"},
          std::tuple{&request.value, "value", "a correction says what it must be"},
          std::tuple{&request.why, "why", "a correction says why"},
          std::tuple{&request.by, "by", "a correction has a name to it"}})
        if (auto ok = need(*said, with(flag(option)), why, whole); !ok) return pass(ok);
    return until_journal_rests([&] { return corrected_now(shop, request); });
}

}  // namespace fettle::workshop
