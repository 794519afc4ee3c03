#include "fettle/workshop/read_faults.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/job_faults.h"
#include "fettle/workshop/link_entries.h"
#include "fettle/workshop/link_open.h"
#include "fettle/workshop/read_link.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {

using link::BoxFaults;
using link::BoxInventory;
using link::Known;

std::string counted(std::size_t entries) {
    return entries == 0 ? "no entry" : entries == 1 ? "1 entry" : fmt::format("{} entries", entries);
}

Judgement judge(const std::vector<BoxFaults>& faults) {
    Judgement out;
    for (const BoxFaults& b : faults) {
        const bool read = b.known == Known::read;
        out.add({not_read_code(b.known), read ? Verdict::fit : Verdict::cant_say,
                 read ? fmt::format("fault memory read, {}", counted(b.faults.size()))
                      : fmt::format("fault memory not read: {}", printable(b.why)),
                 b.role, "read over the link"});
    }
    return out;
}

namespace {

// Whose memory is it? Plate and serial number of every box that is asked; the serial only where it can be held against
// something.
std::vector<BoxInventory> who_answers(const OpenLink& open, const book::Job& job) {
    std::vector<BoxInventory> out;
    for (const AskedBox& box : open.boxes) {
        AskedBox identity = box;
        const bool known = !serial_of(job, box.role).empty();
        for (Way& w : identity.ways) {
            w.record.did_release = w.record.did_market = w.record.did_pieces = w.record.did_history = 0;
            if (!known) w.record.did_serial = 0;
        }
        out.push_back(read_over(identity));
    }
    return out;
}

json::array entries_of(const std::vector<prove::Fault>& faults) {
    json::array out;
    for (const prove::Fault& f : faults) {
        json::object o{{"box", f.box}, {"code", f.code}};
        if (f.status) o["status"] = *f.status;
        out.push_back(std::move(o));
    }
    return out;
}

Result<std::vector<prove::Fault>> typed_entries(const std::string& typed, const family::Family& family) {
    auto list = prove::parse_faults(typed);
    if (!list) return list;
    for (const prove::Fault& f : *list)
        if (!f.box.empty() && !family.box(f.box))
            return bad_input("box-unknown", printable(f.box), "family " + family.id + " has no such box",
                             "name one of the family file's boxes, or leave it out");
    return list;
}

}  // namespace

Result<MemoryRead> read_faults(const Workshop& shop, const MemoryRequest& request) {
    std::optional<JobRun> run;
    if (!request.job.empty()) {
        auto loaded = load_last_run(shop, request.job);
        if (!loaded) return pass(loaded);
        run = std::move(*loaded);
    }
    const book::Job job = run ? run->job : book::Job();
    MemoryRead out;
    out.when = request.when == Moment::before ? Moment::before : !request.when || run ? moment_now(job) : Moment::after;
    if (auto ok = check_moment(out.when, job); !ok) return pass(ok);
    auto open = open_links(shop, job.number, request.at, request.family.empty() ? job.family : request.family,
                           request.record, request.how);
    if (!open) return pass(open);
    out.family = open->family;
    const std::vector<BoxInventory> who = run ? who_answers(*open, job) : std::vector<BoxInventory>();
    for (const AskedBox& box : open->boxes) out.boxes.push_back(read_memory_over(box, request.details));
    out.broken_off = request.how.cancel.cancelled();
    for (const auto& c : open->connections) out.reconnected += c->reconnected();
    out.recording = recording_of(open->options);
    out.stranger = other_box(job, who);
    if (!out.stranger) out.stranger = nobody_known(job, who, out.boxes);
    std::vector<NewEntry> entries = recorded_entry(shop, job.number, open->options);
    if (run && !out.stranger) {
        if (run->family.id.empty()) run->family = open->family;
        entries.push_back(faults_entry(out.boxes, open->family, out.when, request.place.value_or(run->job.place)));
    }
    if (!entries.empty())
        if (auto kept = append_entries(shop, job.number, entries); !kept) return pass(kept);
    if (out.stranger) {
        out.judgement.add(out.stranger->reason);
        return out;
    }
    out.judgement = judge(out.boxes);
    if (out.reconnected > 0) out.judgement.add(lost_once(out.boxes.front().via));
    if (!run || out.when == Moment::before) return out;
    auto faults = follow_up(shop, *run);
    if (!faults) return pass(faults);
    out.judgement.add(faults->judgement);
    out.faults = std::move(*faults);
    return out;
}

namespace {

// usage: what is typed now is not from the moment that was named.
Status check_typed_moment(const std::optional<Moment>& named, const book::Job& job) {
    if (named == Moment::before && !job.runs.empty())
        return usage_error("when-past", with(flag("when")),
                           "a run was begun, so what is typed now is no reading from before it",
                           Next{"leave ", with(flag("when")), " away; what somebody remembers is a note: ",
                                propose(Act::note, {fettle::job(job.number), wanted("text", "TEXT")})});
    if (named == Moment::after && job.runs.empty())
        return usage_error("when-early", with(flag("when")), "no run was begun, so what is typed now is from before it",
                           Next{"leave ", with(flag("when")), " away"});
    return {};
}

}  // namespace

Result<FaultsKept> keep_typed_faults(const Workshop& shop, const TypedFaults& request) {
    FaultsKept out;
    auto run = until_journal_rests([&]() -> Result<JobRun> {
        auto loaded = load_job_and_family(shop, request.job);
        if (!loaded) return loaded;
        if (auto ok = check_typed_moment(request.when, loaded->job); !ok) return pass(ok);
        out.when = moment_now(loaded->job);
        json::object entry{{"when", code(out.when)},
                           {"place", code(request.place.value_or(loaded->job.place))},
                           {"origin", request.typed ? "typed" : "not read"}};
        if (request.typed) {
            auto list = typed_entries(*request.typed, loaded->family);
            if (!list) return pass(list);
            entry["entries"] = entries_of(*list);
            out.entries = std::move(*list);
        }
        const std::vector<NewEntry> entries{{"faults", std::move(entry)}};
        if (auto kept = append_entries(shop, loaded->number, entries, loaded->job.last_number); !kept)
            return pass(kept);
        return loaded;
    });
    if (!run) return pass(run);
    if (out.when == Moment::before) {
        if (!out.entries)
            out.judgement.add({"faults-not-read", Verdict::cant_say, "the fault memory was not read before the run",
                               "faults", "not read"});
        return out;
    }
    auto faults = follow_up(shop, *run);
    if (!faults) return pass(faults);
    out.judgement = faults->judgement;
    out.faults = std::move(*faults);
    return out;
}

}  // namespace fettle::workshop
