#include "cmd_link.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/link/client.h"
#include "fettle/show/faults.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/job_faults.h"
#include "fettle/workshop/link_entries.h"
#include "fettle/workshop/link_open.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/read_list.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

using link::BoxFaults;
using link::BoxInventory;
using link::Fact;
using link::Inventory;
using link::Known;

struct Item {
    const char* name;
    const Fact BoxInventory::* fact;
};
constexpr Item items[] = {{"plate", &BoxInventory::plate},        {"serial", &BoxInventory::serial},
                          {"release", &BoxInventory::release},    {"market", &BoxInventory::market},
                          {"pieces", &BoxInventory::pieces_fact}, {"history", &BoxInventory::history_fact}};
bool is_list(const Item& item) {
    return std::string_view(item.name) == "pieces" || std::string_view(item.name) == "history";
}

Verdict verdict_of(Known k) {
    return k == Known::read ? Verdict::fit : Verdict::cant_say;
}
std::string reason_code(Known k) {
    switch (k) {
        case Known::read: return "read-over-link";
        case Known::refused: return "not-read-refused";
        case Known::no_answer: return "not-read-no-answer";
        case Known::unreadable: return "not-read-unreadable";
        case Known::not_in_file: return "not-read-not-in-file";
    }
    return {};
}

boost::json::object fact_json(const Fact& f) {
    boost::json::object o{{"known", link::code(f.known)}};
    if (f.known == Known::read)
        o["value"] = f.value;
    else
        o["why"] = f.why;
    return o;
}

boost::json::object beside_json(const link::Beside& b) {
    boost::json::object o{{"known", link::code(b.known)}};
    if (b.known == Known::read)
        o["raw"] = hex(b.raw);
    else
        o["why"] = b.why;
    return o;
}

std::string beside_text(const char* what, const link::Beside& b, const std::string& words) {
    if (b.known != Known::read) return fmt::format("            {}: not read: {}\n", what, printable(b.why));
    if (b.records.empty()) return fmt::format("            {}: it keeps none\n", what);
    return fmt::format("            {} {}: {}\n", what, hex(b.records), printable(words));
}

std::string shown(const Fact& f) {
    return f.known == Known::read ? printable(f.value) : fmt::format("not read: {}", printable(f.why));
}

std::string status_words(std::uint8_t status) {
    const auto names = prove::status_bits(status);
    return names.empty() ? "no bit set" : join(std::vector<std::string>(names.begin(), names.end()), ", ");
}

}  // namespace

Judgement judge(const Inventory& inventory) {
    Judgement out;
    for (const auto& b : inventory.boxes)
        for (const auto& item : items) {
            const Fact& f = b.*item.fact;
            if (f.known == Known::read || (f.known == Known::not_in_file && std::string_view(item.name) != "pieces"))
                continue;
            out.add({reason_code(f.known), verdict_of(f.known),
                     fmt::format("{} of the {}: {}", item.name, b.role, printable(f.why)), b.role + "." + item.name,
                     "read over the link"});
        }
    if (out.reasons.empty())
        out.add({"read-over-link", Verdict::fit, "every item that the family file names was read", "",
                 "read over the link"});
    return out;
}

std::string counted(std::size_t entries) {
    return entries == 0 ? "no entry" : entries == 1 ? "1 entry" : fmt::format("{} entries", entries);
}

Judgement judge(const std::vector<BoxFaults>& faults) {
    Judgement out;
    for (const auto& b : faults) {
        const std::string text = b.known == Known::read ? fmt::format("fault memory read, {}", counted(b.faults.size()))
                                                        : fmt::format("fault memory not read: {}", printable(b.why));
        out.add({reason_code(b.known), verdict_of(b.known), text, b.role, "read over the link"});
    }
    return out;
}

boost::json::object inventory_as_json(const Inventory& inventory) {
    boost::json::array boxes;
    for (const auto& b : inventory.boxes) {
        boost::json::object o{{"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}};
        if (!b.via.empty()) o["via"] = b.via;
        for (const auto& item : items) o[item.name] = fact_json(b.*item.fact);
        boost::json::array pieces, releases;
        for (const auto& p : b.pieces) pieces.push_back({{"name", p.name}, {"version", p.version}});
        for (const auto& r : b.history) releases.push_back(boost::json::string(r));
        o["installed"] = std::move(pieces);
        if (b.history_fact.known == Known::read) o["releases"] = std::move(releases);
        boxes.push_back(std::move(o));
    }
    return {{"boxes", std::move(boxes)}};
}

boost::json::object faults_as_json(const std::vector<BoxFaults>& faults) {
    boost::json::array boxes;
    for (const auto& b : faults) {
        boost::json::object o{
            {"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}, {"known", link::code(b.known)}};
        if (!b.via.empty()) o["via"] = b.via;
        if (b.known == Known::read) {
            o["status_availability"] = b.availability;
            boost::json::array entries;
            for (const auto& f : b.faults) {
                boost::json::array names;
                for (const auto n : prove::status_bits(f.status)) names.emplace_back(n);
                entries.push_back({{"code", f.code},
                                   {"code_words", prove::code_words(f.code)},
                                   {"status", f.status},
                                   {"bits", std::move(names)}});
            }
            o["entries"] = std::move(entries);
            o["raw"] = hex(b.raw);
            boost::json::array details;
            for (const link::Details& d : b.details)
                details.push_back(
                    {{"code", d.code}, {"snapshot", beside_json(d.snapshot)}, {"extended", beside_json(d.extended)}});
            if (!b.details.empty()) o["details"] = std::move(details);
        } else {
            o["why"] = b.why;
        }
        boxes.push_back(std::move(o));
    }
    return {{"boxes", std::move(boxes)}};
}

// The serial number that the job has of a box, by what the box said before; empty: none.
std::string serial_of(const book::Job& job, const std::string& role) {
    for (const auto* said : {&job.said_after, &job.said_before})
        if (const auto s = said->find(role); s != said->end() && !s->second.serial.empty()) return s->second.serial;
    return {};
}

std::optional<Answer> other_box(const book::Job& job, const std::vector<BoxInventory>& boxes) {
    for (const BoxInventory& b : boxes) {
        const auto of_job = job.plates.find(b.role);
        const std::string serial = serial_of(job, b.role);
        std::string what;
        if (of_job != job.plates.end() && b.plate.known == Known::read && trim(b.plate.value) != of_job->second)
            what = fmt::format("its plate is {}, that of the job {}", printable(b.plate.value), of_job->second);
        else if (!serial.empty() && b.serial.known == Known::read && b.serial.value != serial)
            what = fmt::format("its serial number is {}, {} was read before", printable(b.serial.value),
                               printable(serial));
        if (what.empty()) continue;
        Answer a;
        a.headline = fmt::format("Not kept: the {} that answers is not the one of this job.", b.role);
        a.judgement.add({"other-box", Verdict::halt, what + ": look which box stands at that address", b.role,
                         "read over the link"});
        return a;
    }
    return std::nullopt;
}

// A memory that could settle what was cleared, from a box that does not say again who it is: a recording that is played
// back, or another box, may stand there.
std::optional<Answer> nobody_known(const book::Job& job, const std::vector<BoxInventory>& boxes,
                                   const std::vector<BoxFaults>& memories) {
    for (const BoxInventory& b : boxes) {
        const bool memory = std::any_of(memories.begin(), memories.end(),
                                        [&](const BoxFaults& m) { return m.role == b.role && m.known == Known::read; });
        const bool was_cleared = std::any_of(job.clearings.begin(), job.clearings.end(),
                                             [&](const book::Clearing& c) { return c.box == b.role; });
        const bool no_plate = b.plate.known != Known::read;
        const bool no_serial = b.serial.known != Known::read && !serial_of(job, b.role).empty();
        if (!memory || !was_cleared || (!no_plate && !no_serial)) continue;
        Answer a;
        a.headline = fmt::format("Not kept: whether the {} that answers is the one of this job is not known.", b.role);
        a.judgement.add({"identity-not-read", Verdict::cant_say,
                         fmt::format("entries of it were cleared, and its {} was not read again: read it when it "
                                     "gives that, too",
                                     no_plate ? "plate" : "serial number"),
                         b.role, "read over the link"});
        return a;
    }
    return std::nullopt;
}

// --- commands ------------------------------------------------------------------------------------------------------

Result<Answer> link_find(Context& context, const LinkFindOptions& options) {
    const auto at = link::parse_endpoint(options.at);
    if (!at) return pass(at);
    const auto link = link_options(context, context.job, options.record);
    if (!link) return pass(link);
    if (options.listen_s && !(*options.listen_s >= 0.01 && *options.listen_s <= 3600))
        return usage_error("bad-stay", fmt::format("{}", *options.listen_s),
                           "it is not between a hundredth of a second and an hour", "write e.g. --listen 30");
    const auto found =
        options.listen_s
            ? link::hear_announcements(*at, static_cast<std::int64_t>(*options.listen_s * 1000), {}, link->record.get())
            : link::find(*at, {}, {}, link->record.get());
    if (!found) return pass(found);
    Answer a;
    boost::json::array list;
    for (const auto& f : *found) {
        const link::BoxAddress address{f.at, f.says.address};
        a.text += fmt::format("  {}  VIN {}, EID {}\n", text_of(address), printable(f.says.vin), hex(f.says.eid));
        list.push_back({{"address", text_of(address)}, {"vin", printable(f.says.vin)}, {"eid", hex(f.says.eid)}});
    }
    a.data = {{"asked", text_of(*at)}, {"found", std::move(list)}};
    if (found->empty()) {
        a.headline = options.listen_s
                         ? fmt::format("Nobody announced itself at {} within {:g} s.", text_of(*at), *options.listen_s)
                         : fmt::format("Nobody at {} answered within 2 s.", text_of(*at));
        a.judgement.add({"nobody-answered", Verdict::cant_say,
                         "no answer does not mean that nothing is there: ignition, cable and address come first",
                         text_of(*at), "read over the link"});
    } else {
        a.headline = fmt::format(
            "{} {}.", found->size() == 1 ? std::string("One entity") : fmt::format("{} entities", found->size()),
            options.listen_s ? "announced itself" : "answered");
        a.judgement.add(
            {"entity-answered", Verdict::fit, "a diagnostic entity answered", text_of(*at), "read over the link"});
    }
    a.text += recording_line(*link);
    a.entries = recorded_entry(context, context.job, *link);
    return a;
}

Result<Answer> link_read(Context& context, const LinkReadOptions& options) {
    std::error_code ec;
    if (!options.save.empty() && std::filesystem::exists(options.save, ec))
        return outside_error("list-exists", printable(options.save), "it exists already",
                             "give another name: a list that was read is never written over");
    auto open = open_links(context, context.job, options.at, options.family, options.record);
    if (!open) return pass(open);
    book::Job job;
    if (!context.job.empty()) {
        auto loaded = load_job(context, context.job);
        if (!loaded) return pass(loaded);
        job = std::move(*loaded);
    }
    const std::string when = !options.when.empty() ? options.when : job.runs.empty() ? "before" : "after";
    if (when == "before" && !job.runs.empty())
        return usage_error("when-past", "--when", "a run was begun, so what is read now is not from before it",
                           "leave --when out, or write --when after");
    Inventory all;
    for (const AskedBox& box : open->boxes) all.boxes.push_back(read_over(box));
    Answer a;
    a.entries = recorded_entry(context, context.job, open->options);
    if (auto other = other_box(job, all.boxes)) {
        other->entries = std::move(a.entries);
        a = std::move(*other);
        a.data = inventory_as_json(all);
        a.data["family"] = open->family.id;
        return a;
    }
    std::string list;
    std::size_t pieces = 0, read_boxes = 0;
    for (const auto& b : all.boxes) {
        a.text += fmt::format("{} (0x{:04X})\n", b.role, b.address);
        for (const auto& item : items)
            if (const Fact& f = b.*item.fact; !is_list(item))
                a.text += fmt::format("  {:<8} {}\n", item.name, shown(f));
        if (b.history_fact.known == Known::read)
            a.text += fmt::format("  history  {}\n", b.history.empty() ? "nothing yet" : join(b.history, ", "));
        else if (b.history_fact.known != Known::not_in_file)
            a.text += fmt::format("  history  {}\n", shown(b.history_fact));
        if (b.pieces_fact.known == Known::read) {
            a.text += fmt::format("  pieces   {}\n", b.pieces.size());
            for (const auto& p : b.pieces) a.text += fmt::format("    {:<20} {}\n", p.name, p.version);
            ++read_boxes;
        } else {
            a.text += fmt::format("  pieces   {}\n", shown(b.pieces_fact));
        }
        for (const auto& p : b.pieces) list += fmt::format("{} {} {}\n", b.role, p.name, p.version);
        pieces += b.pieces.size();
    }
    if (!options.save.empty()) {
        if (read_boxes != all.boxes.size()) {
            if (!a.entries.empty())  // an error appends nothing, and the recording is there
                if (auto kept = append_entries(context, context.job, a.entries); !kept) return pass(kept);
            return outside_error("list-not-whole", printable(options.save),
                                 "not every box gave its pieces, so the list was not written",
                                 "read again, or type the list from the box's own view");
        }
        if (auto ok = write_file_durably(options.save, as_read_list(list)); !ok) return pass(ok);
        a.text += fmt::format("The list stands in {}.\n", printable(options.save));
    }
    a.headline = fmt::format("{} of {} boxes of family {} gave their pieces: {} in all.", read_boxes, all.boxes.size(),
                             open->family.id, pieces);
    a.judgement = judge(all);
    if (!context.job.empty())
        for (const Reason& r : reasons_against(with_reading(job, all, when))) a.judgement.add(r);
    a.data = inventory_as_json(all);
    a.data["family"] = open->family.id;
    a.entries.push_back(inventory_entry(all, when));
    if (when == "after") a.entries.push_back(as_left_entry(all, open->family, job.said_after));
    a.text += recording_line(open->options);
    return a;
}

namespace {

std::string memory_as_text(const BoxFaults& b, const family::Family& family) {
    if (b.known != Known::read)
        return fmt::format("{} (0x{:04X}): not read: {}\n", b.role, b.address, printable(b.why));
    std::string out = fmt::format("{} (0x{:04X}): {}\n", b.role, b.address, counted(b.faults.size()));
    for (const auto& f : b.faults) {
        out += fmt::format("  {}  {}\n            status 0x{:02X}: {}\n", f.code, prove::code_words(f.code), f.status,
                           status_words(f.status));
        for (const auto& note : family.faults)
            if (note.code == f.code)
                out += fmt::format("            {} (family file: explained by {})\n", printable(note.words),
                                   printable(note.explained_by));
        for (const link::Details& d : b.details) {
            const auto record = std::find_if(family.link.begin(), family.link.end(),
                                             [&](const family::LinkBox& l) { return l.role == b.role; });
            if (d.code != f.code || record == family.link.end()) continue;
            out += beside_text("snapshot", d.snapshot, link::snapshot_words(d.snapshot.records, *record));
            out += beside_text("extended", d.extended, link::extended_words(d.extended.records));
        }
    }
    return out;
}

}  // namespace

Result<Answer> link_faults(Context& context, const LinkFaultsOptions& options) {
    auto open = open_links(context, context.job, options.at, options.family, options.record);
    if (!open) return pass(open);
    std::optional<JobRun> run;
    if (!context.job.empty()) {
        auto loaded = load_last_run(context, context.job);
        if (!loaded) return pass(loaded);
        run = std::move(*loaded);
        if (run->family.id.empty()) run->family = open->family;
    }
    const book::Job none;
    const book::Job& job = run ? run->job : none;
    if (options.when == "before" && !job.runs.empty())
        return usage_error("when-past", "--when", "a run was begun, so what is read now is not from before it",
                           "leave --when out, or write --when after");
    const std::string when = options.when == "before"      ? "before"
                             : options.when.empty() || run ? when_now(job)
                                                           : "after";
    std::vector<BoxInventory> who;
    if (run)  // whose memory is it?
        for (const AskedBox& box : open->boxes) {
            AskedBox identity = box;
            const bool known = !serial_of(job, box.role).empty();
            for (Way& w : identity.ways) {
                w.record.did_release = w.record.did_market = w.record.did_pieces = w.record.did_history = 0;
                if (!known) w.record.did_serial = 0;  // nothing to hold it against
            }
            who.push_back(read_over(identity));
        }
    std::vector<BoxFaults> all;
    for (const AskedBox& box : open->boxes) all.push_back(read_memory_over(box, options.details));
    Answer a;
    a.entries = recorded_entry(context, context.job, open->options);
    auto other = other_box(job, who);
    if (!other) other = nobody_known(job, who, all);
    if (other) {
        other->entries = std::move(a.entries);
        a = std::move(*other);
        a.data = faults_as_json(all);
        a.data["family"] = open->family.id;
        a.data["when"] = when;
        return a;
    }
    std::size_t entries = 0, read_boxes = 0;
    for (const auto& b : all) {
        read_boxes += b.known == Known::read;
        a.text += memory_as_text(b, open->family);
        entries += b.faults.size();
    }
    a.headline = read_boxes == all.size()
                     ? fmt::format("Fault memory of {} read: {}.",
                                   read_boxes == 1 ? "1 box" : fmt::format("{} boxes", read_boxes), counted(entries))
                     : fmt::format("Fault memory of {} of {} boxes read; the rest is not read, which is not \"none\".",
                                   read_boxes, all.size());
    a.judgement = judge(all);
    a.data = faults_as_json(all);
    a.data["family"] = open->family.id;
    a.data["when"] = when;
    a.text += recording_line(open->options);
    const std::string place = !options.in.empty() ? options.in : run && !run->on_bench() ? "vehicle" : "bench";
    if (!run) return a;
    // Appended first: what follows from it is said of the job as it then is.
    a.job = run->number;
    a.entries.push_back(faults_entry(all, open->family, when, place));
    if (auto kept = append_entries(context, run->number, a.entries); !kept) return pass(kept);
    a.entries.clear();
    if (when == "before") return a;
    auto now = load_job(context, run->number);
    if (!now) return pass(now);
    run->job = std::move(*now);
    const prove::Faults f = faults_of(context, *run);
    a.text += faults_as_text(f);
    a.judgement.add(f.judgement);
    a.data["faults"] = show::faults_as_json(f);
    a.entries = ends_that_follow(*run, f);
    return a;
}

}  // namespace fettle::app
