#include "cmd_job.h"

#include <fmt/core.h>

#include <algorithm>
#include <system_error>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/identity/label.h"
#include "fettle/identity/vin.h"
#include "fettle/plan/plan.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/store.h"
#include "job_page.h"

namespace fettle::app {
namespace {

// "B2: owner's map card #17" → slot, words, tag. Only the words are needed: "owner's map card".
Result<json::object> keeping_from(const std::string& typed, int number) {
    std::string_view rest = trim(typed);
    std::string_view slot, tag;
    if (const std::size_t colon = rest.find(':'); colon != std::string_view::npos) {
        slot = trim(rest.substr(0, colon));
        rest = trim(rest.substr(colon + 1));
    }
    if (const std::size_t mark = rest.rfind(" #"); mark != std::string_view::npos) {
        tag = trim(rest.substr(mark + 2));
        rest = trim(rest.substr(0, mark));
    }
    if (rest.empty())
        return usage_error("keep-form", "--keep " + printable(typed), "does not say what is kept",
                           "write slot and thing, e.g. \"B2: owner's map card #17\"");
    return json::object{{"id", fmt::format("keeping-{}", number)}, {"words", rest}, {"slot", slot}, {"tag", tag}};
}

json::array texts(const std::vector<std::string>& list) {
    json::array out;
    for (const std::string& t : list) out.emplace_back(t);
    return out;
}

// Impossible as a VIN: refused, because nothing later could use it. Anything else is told and kept as typed.
Result<std::string> take_vin(const std::string& typed, Judgement& j) {
    if (trim(typed).empty()) return std::string();
    identity::VinAnswer answer = identity::check_vin(typed);
    if (answer.judgement.verdict() == Verdict::halt) {
        std::vector<std::string> why;
        for (const Reason& r : answer.judgement.reasons)
            if (r.verdict == Verdict::halt) why.push_back(r.text);
        return bad_input("vin-impossible", "--vin " + printable(answer.typed), join(why, "; "),
                         "read it again, or open the job without it and add it later");
    }
    j.add(std::move(answer.judgement));
    std::string kept = answer.typed;
    for (char& c : kept)
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    return kept;
}

// The families that can read one of the plates; what the plates mean is identify's business.
std::vector<family::Family> families_of(const Context& context, const std::vector<std::string>& plates, Judgement& j) {
    std::vector<family::Family> out;
    auto families = load_families(context);
    if (!families) return out;
    std::vector<bool> wanted(families->size(), false);
    for (const std::string& plate : plates) {
        bool readable = false;
        for (std::size_t k = 0; k < families->size(); ++k) {
            const auto& boxes = (*families)[k].boxes;
            const bool reads = std::any_of(boxes.begin(), boxes.end(), [&](const family::Box& b) {
                return !identity::read_label(b.plate, {plate, identity::Source::typed, {}}, "plate").readings.empty();
            });
            wanted[k] = wanted[k] || reads;
            readable = readable || reads;
        }
        if (!readable)
            j.add({"plate-not-known", Verdict::mind,
                   "no family known here has such a plate; it was written down as typed. What is wrong with it is said "
                   "by: fettle identify",
                   plate, "family files"});
    }
    for (std::size_t k = 0; k < wanted.size(); ++k)
        if (wanted[k]) out.push_back(std::move((*families)[k]));
    return out;
}

// Is it worth doing? The release notes known of these families against the complaint.
std::string worth_doing(const Context& context, const std::vector<family::Family>& families,
                        const std::string& complaint, json::array& found) {
    if (families.empty())
        return "  Worth doing? Without a plate that is known here there are no release notes to ask.\n";
    std::string out;
    std::error_code ec;
    for (const family::Family& f : families) {
        std::vector<family::Release> releases;
        if (std::filesystem::exists(context.shelf_folder(), ec)) {
            if (auto shelf = shelf::Shelf::open(context.shelf_folder())) {
                if (auto all = shelf->list(f.id))
                    for (const shelf::Shelved& s : *all) releases.push_back(s.release);
            }
        }
        for (const Cure& c : cures_known(f, releases, complaint)) {
            out += fmt::format("  Worth doing? The notes of {} {} say: \"{}\".\n", f.id, c.release, c.text);
            found.push_back(json::object{{"family", f.id}, {"release", c.release}, {"text", c.text}});
        }
    }
    if (out.empty()) out = "  Worth doing? Nothing is known about it in the release notes.\n";
    return out;
}

Status need(const std::string& value, std::string_view option, std::string_view why) {
    if (!trim(value).empty()) return {};
    return usage_error("option-missing", std::string(option), std::string(why), fmt::format("give {} TEXT", option));
}

}  // namespace

Result<Answer> job_open(const Context& context, const JobOpenOptions& options) {
    if (trim(options.customer).empty())
        return usage_error("customer-missing", "--customer", "a job belongs to a customer", "give --customer NUMBER");
    if (options.place != "bench" && options.place != "vehicle")
        return usage_error("place-unknown", "--place " + printable(options.place), "is neither bench nor vehicle",
                           "--place bench or --place vehicle");
    Answer answer;
    auto vin = take_vin(options.vin, answer.judgement);
    if (!vin) return pass(vin);
    const auto families = families_of(context, options.plates, answer.judgement);

    json::object opened{
        {"customer", options.customer},       {"vehicle", options.vehicle}, {"vin", *vin},
        {"complaint", options.complaint},     {"place", options.place},     {"boxes", texts(options.plates)},
        {"consents", texts(options.consents)}};
    if (options.housings) opened["housings"] = *options.housings;
    if (!options.by.empty()) opened["by"] = options.by;
    const std::string data = json::serialize(opened);
    if (auto ok = book::check_entry("opened", data); !ok) return pass(ok);
    std::vector<book::Addition> more;
    for (const std::string& thing : options.keep) {
        auto kept = keeping_from(thing, static_cast<int>(more.size()) + 1);
        if (!kept) return pass(kept);
        more.push_back({"kept", json::serialize(*kept)});
    }
    auto book = open_book(context);
    if (!book) return pass(book);
    auto job = book->open_job(data, context.clock->now(), more);
    if (!job) return pass(job);

    answer.headline = fmt::format("Job {} is open.", *job);
    for (std::size_t k = 0; k < options.keep.size(); ++k)
        answer.text += fmt::format("  keeping-{}: {}\n", k + 1, options.keep[k]);
    json::array worth;
    if (!trim(options.complaint).empty()) answer.text += worth_doing(context, families, options.complaint, worth);
    answer.data["worth"] = std::move(worth);
    answer.data["job"] = *job;
    answer.data["keepings"] = more.size();
    return answer;
}

Result<Answer> job_list(const Context& context) {
    Answer answer;
    answer.verdict_matters = false;
    answer.headline = "No job in this bench book.";
    answer.data["jobs"] = json::array();
    std::error_code ec;
    if (!std::filesystem::exists(context.book_file(), ec)) {
        answer.headline = fmt::format("No bench book in {}: the first job that is opened there makes one.",
                                      printable(context.home.string()));
        return answer;
    }
    auto book = existing_book(context);
    if (!book) return pass(book);
    auto numbers = book->jobs();
    if (!numbers) return pass(numbers);
    if (!numbers->empty())
        answer.headline = fmt::format("{} job{} in this bench book.", numbers->size(), numbers->size() == 1 ? "" : "s");
    for (const std::string& number : *numbers) {
        auto journal = book->journal(number);
        if (!journal) return pass(journal);
        const auto broken = book::check_chain(number, journal->entries, journal->head);
        auto job = book::fold(number, journal->entries);
        if (broken || !job) {
            answer.text += fmt::format("  {}  RECORD BROKEN{}\n", number,
                                       broken ? fmt::format(" at entry {}: {}", broken->number, broken->why) : "");
            answer.data["jobs"].get_array().push_back(json::object{{"job", number}, {"chain", "broken"}});
            continue;
        }
        const std::size_t open = job->open_ends().size();
        const std::string state = job->is_open_run()        ? "a run is under way"
                                  : !job->handovers.empty() ? "handed over"
                                  : open > 0                ? fmt::format("{} open end{}", open, open == 1 ? "" : "s")
                                                            : "nothing open";
        answer.text += fmt::format("  {}  {}  customer {:<8} {:<18} {}\n", number, iso8601(job->opened).substr(0, 10),
                                   job->customer, state, job->complaint);
        answer.data["jobs"].get_array().push_back(json::object{{"job", number},
                                                               {"chain", "holds"},
                                                               {"opened", iso8601(job->opened)},
                                                               {"customer", job->customer},
                                                               {"complaint", job->complaint},
                                                               {"open_ends", open},
                                                               {"handed_over", !job->handovers.empty()}});
    }
    return answer;
}

Result<Answer> job_show(const Context& context, const JobShowOptions& options) {
    auto record = read_job(context, options.job);
    if (!record) return pass(record);
    Answer answer;
    auto job = book::fold(record->number, record->entries);
    if (!record->broken && !job) return pass(job);
    if (record->broken) {
        answer.headline = fmt::format(
            "Job {}: the record is BROKEN at entry {}: {}. From there on nothing of it is to be "
            "trusted.",
            record->number, record->broken->number, record->broken->why);
        answer.judgement.add({"chain-broken", Verdict::halt, record->broken->why,
                              fmt::format("entry {}", record->broken->number), "digests of the journal"});
        answer.bad_input = true;
        answer.data["chain"] =
            json::object{{"holds", false}, {"entry", record->broken->number}, {"why", record->broken->why}};
    } else {
        answer.headline = fmt::format("Job {}, opened {}: the record is whole, {} entries.", record->number,
                                      iso8601(job->opened).substr(0, 10), record->entries.size());
        answer.judgement.add({"chain-holds", Verdict::fit, "every entry is as it was appended, and none is missing",
                              record->number, "digests of the journal"});
        answer.data["chain"] = json::object{{"holds", true},
                                            {"entries", record->entries.size()},
                                            {"head", record->entries.empty() ? "" : record->entries.back().digest}};
    }
    if (job) {
        answer.text = job_page(*job);
        answer.data["job"] = job_json(*job);
        const std::size_t open = job->open_ends().size();
        if (open > 0)
            answer.judgement.add({"loose-ends-open", Verdict::mind,
                                  fmt::format("{} open: no handover until each is settled or signed for", open), "job",
                                  "journal"});
        if (job->unknown_entries > 0)
            answer.judgement.add(
                {"records-unknown-entries", Verdict::mind,
                 fmt::format("{} entries are of types this version does not know", job->unknown_entries), "journal",
                 "journal"});
    } else {
        answer.text = "The entries cannot be added up: " + job.error().message() + "\n";
    }
    if (options.entries) {
        answer.text += journal_lines(record->entries);
        json::array entries;
        for (const book::Entry& e : record->entries)
            entries.push_back(json::object{
                {"number", e.number}, {"at", iso8601(e.at)}, {"type", e.type}, {"data", e.data}, {"digest", e.digest}});
        answer.data["entries"] = std::move(entries);
    }
    return answer;
}

namespace {

// The correcting entry, tried on the fold before it is appended: it must change something and leave a readable job. A
// value is taken as text, or as JSON where the member wants a number, a list or a truth.
Result<Answer> correct(const Context& context, const JobNoteOptions& o) {
    for (const auto& [value, option, why] :
         {std::tuple{&o.field, "--field", "a correction names the member of the entry"},
          std::tuple{&o.value, "--value", "a correction says what it must be"},
          std::tuple{&o.why, "--why", "a correction says why"},
          std::tuple{&o.by, "--by", "a correction has a name to it"}})
        if (auto ok = need(*value, option, why); !ok) return pass(ok);
    auto record = read_job(context, o.job);
    if (!record) return pass(record);
    auto now = load_job(context, o.job);
    if (!now) return pass(now);

    const std::string place = fmt::format("entry {}, {}", *o.correct, printable(o.field));
    const auto target = std::find_if(record->entries.begin(), record->entries.end(),
                                     [&](const book::Entry& e) { return e.number == *o.correct; });
    if (target != record->entries.end()) {
        const std::vector<std::string> members = book::members_of(target->type);
        if (std::find(members.begin(), members.end(), o.field.substr(0, o.field.find('.'))) == members.end())
            return bad_input(
                "entry-unknown", place,
                fmt::format("an entry of type {} has no such member; it has: {}", target->type, join(members, ", ")),
                fmt::format("look at it: fettle job show {} --entries", record->number));
    }
    std::vector<json::value> candidates{json::value(o.value)};
    if (auto parsed = parse_json(o.value, place); parsed && !parsed->is_string()) candidates.push_back(*parsed);
    Error last;
    for (const json::value& value : candidates) {
        json::object data{{"entry", *o.correct}, {"field", o.field}, {"value", value}, {"why", o.why}, {"by", o.by}};
        if (!o.text.empty()) data["text"] = o.text;
        std::vector<book::Entry> with = record->entries;
        book::Entry added;
        added.number = static_cast<std::int64_t>(with.size()) + 1;
        added.type = "corrects";
        added.data = json::serialize(data);
        with.push_back(added);
        auto after = book::fold(record->number, with);
        if (!after) {
            last = after.error();
            continue;
        }
        const book::Correction& made = after->corrections.back();
        if (made.before.empty() && made.after.empty())
            return bad_input("entry-unknown", place, "there is no such entry, or it has no such member",
                             fmt::format("look at them: fettle job show {} --entries", record->number));
        Answer answer;
        answer.job = record->number;
        answer.headline = fmt::format("Entry {}: {} was \"{}\", is now \"{}\". The old word stays in the journal.",
                                      *o.correct, o.field, made.before, made.after);
        answer.data = {{"job", record->number},
                       {"entry", *o.correct},
                       {"field", o.field},
                       {"before", made.before},
                       {"after", made.after}};
        answer.entries.push_back({"corrects", std::move(data)});
        answer.verdict_matters = false;
        return answer;
    }
    return tl::unexpected<Error>(last);
}

// The common shape of a command that appends one entry to a job that can be trusted.
Answer appends(const std::string& job, std::string headline, std::string type, json::object data) {
    Answer answer;
    answer.job = job;
    answer.headline = std::move(headline);
    answer.data = {{"job", job}, {"appended", data}};
    answer.entries.push_back({std::move(type), std::move(data)});
    answer.verdict_matters = false;
    return answer;
}

}  // namespace

Result<Answer> job_note(const Context& context, const JobNoteOptions& options) {
    if (options.correct) return correct(context, options);
    if (auto ok = need(options.text, "TEXT", "a note says something"); !ok) return pass(ok);
    auto record = read_job(context, options.job);
    if (!record) return pass(record);
    json::object data{{"text", options.text}};
    if (!options.by.empty()) data["by"] = options.by;
    return appends(record->number, fmt::format("Noted in job {}.", record->number), "note", std::move(data));
}

Result<Answer> job_keep(const Context& context, const JobKeepOptions& options) {
    auto job = load_job(context, options.job);
    if (!job) return pass(job);
    if (options.things.empty())
        return usage_error("keep-form", "", "does not say what is kept", "e.g. \"B2: owner's map card #17\"");
    Answer answer;
    answer.job = job->number;
    answer.verdict_matters = false;
    json::array kept;
    int number = static_cast<int>(job->keepings.size());
    for (const std::string& thing : options.things) {
        auto one = keeping_from(thing, ++number);
        if (!one) return pass(one);
        answer.text += fmt::format("  keeping-{}: {}\n", number, thing);
        kept.push_back(*one);
        answer.entries.push_back({"kept", std::move(*one)});
    }
    answer.headline = fmt::format("Kept for the owner in job {}; to go back before the handover.", job->number);
    answer.data = {{"job", job->number}, {"kept", std::move(kept)}};
    return answer;
}

Result<Answer> job_return(const Context& context, const JobReturnOptions& options) {
    if (auto ok = need(options.by, "--by", "who gave it back?"); !ok) return pass(ok);
    auto job = load_job(context, options.job);
    if (!job) return pass(job);
    const auto at = std::find_if(job->keepings.begin(), job->keepings.end(), [&](const book::Keeping& k) {
        return k.id == options.id || k.id == "keeping-" + options.id;
    });
    if (at == job->keepings.end()) {
        std::vector<std::string> ids;
        for (const book::Keeping& k : job->keepings) ids.push_back(k.id);
        return bad_input(
            "keeping-unknown", printable(options.id),
            ids.empty() ? "nothing is kept in this job" : "no keeping of that id; there are: " + join(ids, ", "),
            fmt::format("look at the job: fettle job show {}", job->number));
    }
    return appends(job->number, fmt::format("{} is back with the owner.", at->words), "returned",
                   {{"id", at->id}, {"by", options.by}});
}

Result<Answer> job_consent(const Context& context, const JobConsentOptions& options) {
    if (auto ok = need(options.what, "WHAT", "what was agreed to?"); !ok) return pass(ok);
    if (auto ok = need(options.by, "--by", "who agreed?"); !ok) return pass(ok);
    auto job = load_job(context, options.job);
    if (!job) return pass(job);
    return appends(job->number, fmt::format("Consent noted in job {}: {}.", job->number, options.what), "consent",
                   {{"what", options.what}, {"by", options.by}});
}

Result<Answer> job_loose_ends(const Context& context, const JobLooseEndsOptions& options) {
    auto job = load_job(context, options.job);
    if (!job) return pass(job);
    const std::string& id = options.settle.empty() ? options.sign : options.settle;
    if (id.empty()) {
        Answer answer;
        const auto open = job->open_ends();
        answer.headline = open.empty() ? fmt::format("Job {}: nothing holds up the handover.", job->number)
                                       : fmt::format("Job {}: {} open.", job->number, open.size());
        json::array ends;
        for (const book::LooseEnd& e : job->loose_ends) {
            answer.text += loose_end_line(e);
            ends.push_back(loose_end_json(e));
        }
        for (const book::LooseEnd& e : open)
            answer.judgement.add({"loose-ends-open", Verdict::mind, e.words, e.id, "journal"});
        if (open.empty())
            answer.judgement.add(
                {"loose-ends-none", Verdict::fit, "nothing is open that holds up a handover", job->number, "journal"});
        answer.data = {{"job", job->number}, {"open", open.size()}, {"loose_ends", std::move(ends)}};
        return answer;
    }
    if (!options.settle.empty() && !options.sign.empty())
        return usage_error("loose-end-name", "--settle, --sign", "only one at a time", "give one of the two");
    const bool settle = !options.settle.empty();
    if (trim(settle ? options.how : options.reason).empty() || trim(options.by).empty())
        return usage_error("loose-end-name", settle ? "--settle" : "--sign",
                           settle ? "settling needs how and by whom" : "signing needs the reason and by whom",
                           settle ? "give --how TEXT --by NAME" : "give --reason TEXT --by NAME");
    const auto at = std::find_if(job->loose_ends.begin(), job->loose_ends.end(),
                                 [&](const book::LooseEnd& e) { return e.id == id; });
    if (at == job->loose_ends.end() || at->settled)
        return bad_input("loose-end-unknown", printable(id),
                         at == job->loose_ends.end() ? "no loose end of that id in this job" : "it is settled already",
                         fmt::format("look at them: fettle job loose-ends {}", job->number));
    if (settle)
        return appends(job->number, fmt::format("Settled: {}.", at->words), "settled",
                       {{"id", id}, {"how", options.how}, {"by", options.by}});
    return appends(job->number, fmt::format("Left open and signed for by {}: {}.", options.by, at->words), "signed",
                   {{"id", id}, {"by", options.by}, {"reason", options.reason}});
}

}  // namespace fettle::app
