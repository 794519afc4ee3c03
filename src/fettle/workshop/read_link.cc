#include "fettle/workshop/read_link.h"

#include <fmt/core.h>

#include <algorithm>
#include <filesystem>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/link_entries.h"
#include "fettle/workshop/link_forms.h"
#include "fettle/workshop/link_open.h"
#include "fettle/workshop/read_list.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {

using link::BoxInventory;
using link::Fact;
using link::Inventory;
using link::Known;

const std::vector<Item> items = {
    {"plate", &BoxInventory::plate, false},       {"serial", &BoxInventory::serial, false},
    {"release", &BoxInventory::release, false},   {"market", &BoxInventory::market, false},
    {"pieces", &BoxInventory::pieces_fact, true}, {"history", &BoxInventory::history_fact, true}};

std::string not_read_code(Known k) {
    switch (k) {
        case Known::read: return "read-over-link";
        case Known::refused: return "not-read-refused";
        case Known::no_answer: return "not-read-no-answer";
        case Known::unreadable: return "not-read-unreadable";
        case Known::not_in_file: return "not-read-not-in-file";
    }
    return {};
}

Judgement judge(const Inventory& inventory) {
    Judgement out;
    for (const auto& b : inventory.boxes)
        for (const Item& item : items) {
            const Fact& f = b.*item.fact;
            const bool may_lack = item.fact != &BoxInventory::pieces_fact;
            if (f.known == Known::read || (f.known == Known::not_in_file && may_lack)) continue;
            out.add({not_read_code(f.known), Verdict::cant_say,
                     fmt::format("{} of the {}: {}", item.name, b.role, printable(f.why)), b.role + "." + item.name,
                     "read over the link"});
        }
    if (out.reasons.empty())
        out.add({"read-over-link", Verdict::fit, "every item that the family file names was read", "",
                 "read over the link"});
    return out;
}

namespace {

// As announced or read; empty for what is none (a vehicle whose VIN is not set sends 00 or FF throughout: ISO 13400-2).
std::string vin_text(std::string_view raw) {
    const bool text = raw.size() == 17 && std::all_of(raw.begin(), raw.end(), [](unsigned char c) {
                          return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z');
                      });
    return text ? std::string(raw) : std::string();
}

constexpr std::uint16_t vin_identifier = 0xF190;  // ISO 14229-1 Annex C: VINDataIdentifier

// Asked only where it can be held against something.
void ask_vins(const OpenLink& open, const book::Job& job, Judgement& judgement) {
    if (job.vin.empty()) return;
    for (const AskedBox& box : open.boxes)
        for (const Way& w : box.ways) {
            if (!w.connection) continue;
            const link::Reply r = w.connection->read(w.record.address, vin_identifier);
            if (r.said != link::Said::value) continue;
            if (const auto other = vin_against(job, vin_text(as_text(r.data)), box.role)) judgement.add(*other);
            break;
        }
}

}  // namespace

Result<BoxesFound> find_boxes(const Workshop& shop, const FindRequest& request) {
    const auto at = link::parse_endpoint(request.at);
    if (!at) return pass(at);
    const auto options = link_options(shop, request.job, request.record);
    if (!options) return pass(options);
    if (request.listen_s && !(*request.listen_s >= 0.01 && *request.listen_s <= 3600))
        return usage_error("bad-stay", fmt::format("{}", *request.listen_s),
                           "it is not between a hundredth of a second and an hour",
                           Next{"write e.g. ", with(given("listen", "30"))});
    auto found = request.listen_s ? link::hear_announcements(*at, static_cast<std::int64_t>(*request.listen_s * 1000),
                                                             {}, options->record.get())
                                  : link::find(*at, {}, {}, options->record.get());
    if (!found) {
        (void)keep_recording(shop, request.job, *options);
        return pass(found);
    }
    BoxesFound out{text_of(*at), request.listen_s, std::move(*found), {}, recording_of(*options)};
    if (out.found.empty())
        out.judgement.add({"nobody-answered", Verdict::cant_say,
                           "no answer does not mean that nothing is there: ignition, cable and address come first",
                           out.asked, "read over the link"});
    else
        out.judgement.add(
            {"entity-answered", Verdict::fit, "a diagnostic entity answered", out.asked, "read over the link"});
    if (!request.job.empty()) {
        const auto job = load_job(shop, request.job);
        if (!job) return pass(job);
        for (const link::Found& f : out.found)
            if (const auto other = vin_against(*job, vin_text(f.says.vin), text_of(f.at))) out.judgement.add(*other);
    }
    if (auto kept = keep_recording(shop, request.job, *options); !kept) return pass(kept);
    return out;
}

namespace {

std::string lines_of(const Inventory& inventory) {
    std::string list;
    for (const BoxInventory& b : inventory.boxes)
        for (const auto& p : b.pieces) list += fmt::format("{} {} {}\n", b.role, p.name, p.version);
    return list;
}

Status save_list(const Inventory& inventory, const std::string& file) {
    const bool whole = std::all_of(inventory.boxes.begin(), inventory.boxes.end(),
                                   [](const BoxInventory& b) { return b.pieces_fact.known == Known::read; });
    if (!whole)
        return outside_error("list-not-whole", printable(file),
                             "not every box gave its pieces, so the list was not written",
                             "read again, or type the list from the box's own view");
    return write_file_durably(file, as_read_list(lines_of(inventory)));
}

}  // namespace

Result<BoxesRead> read_boxes(const Workshop& shop, const ReadRequest& request) {
    std::error_code ec;
    if (!request.save.empty() && std::filesystem::exists(request.save, ec))
        return outside_error("list-exists", printable(request.save), "it exists already",
                             "give another name: a list that was read is never written over");
    book::Job job;
    if (!request.job.empty()) {
        auto loaded = load_job(shop, request.job);
        if (!loaded) return pass(loaded);
        job = std::move(*loaded);
    }
    const Moment when = request.when.value_or(job.runs.empty() ? Moment::before : Moment::after);
    if (auto ok = check_moment(when, job); !ok) return pass(ok);
    auto open = open_links(shop, job.number, request.at, request.family.empty() ? job.family : request.family,
                           request.record, request.how);
    if (!open) return pass(open);
    BoxesRead out;
    out.family = open->family.id;
    for (const AskedBox& box : open->boxes) out.inventory.boxes.push_back(read_over(box));
    Judgement vins;
    ask_vins(*open, job, vins);
    out.broken_off = request.how.cancel.cancelled();
    for (const auto& c : open->connections) out.reconnected += c->reconnected();
    out.recording = recording_of(open->options);
    out.stranger = other_box(job, out.inventory.boxes);
    if (!out.stranger)
        for (BoxInventory& b : out.inventory.boxes) hold_against_forms(b, open->family);
    if (out.stranger) out.judgement.add(out.stranger->reason);
    std::vector<NewEntry> entries = recorded_entry(shop, job.number, open->options);
    Status saved;
    if (!out.stranger && !request.save.empty()) saved = save_list(out.inventory, request.save);
    if (saved && !out.stranger && !job.number.empty()) {
        entries.push_back(inventory_entry(out.inventory, when));
        if (when == Moment::after) entries.push_back(as_left_entry(out.inventory, open->family, job.said_after));
    }
    if (!entries.empty())  // the recording is there, whatever became of the list
        if (auto kept = append_entries(shop, job.number, entries); !kept) return pass(kept);
    if (!saved) return pass(saved);
    if (out.stranger) return out;
    out.list = request.save;
    out.judgement = judge(out.inventory);
    for (const Reason& r : vins.reasons) out.judgement.add(r);
    if (out.reconnected > 0) out.judgement.add(lost_once(out.inventory.boxes.front().via));
    if (!job.number.empty())
        for (const Reason& r : reasons_against(with_reading(job, out.inventory, when))) out.judgement.add(r);
    return out;
}

}  // namespace fettle::workshop
