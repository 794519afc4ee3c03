#include "fettle/workshop/clear_faults.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/box_known.h"
#include "fettle/workshop/job_faults.h"
#include "fettle/workshop/link_entries.h"
#include "fettle/workshop/link_open.h"
#include "fettle/workshop/moment.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

tl::unexpected<Error> not_saved(const JobRun& run, const std::string& box) {
    if (run.job.runs.empty())
        return bad_input("no-run", "job " + run.number,
                         "no run was begun, and only what a run has left behind is cleared",
                         "what stands there before it is the owner's to hear of");
    return bad_input("memory-not-saved", "job " + run.number,
                     fmt::format("the fault memory of the {} was not read over the link after the last run", box),
                     Next{"save it first: ", propose(Act::read_faults, {wanted("at", "ADDRESS"), job(run.number)})});
}

Status may_clear_now(const JobRun& run) {
    if (run.job.family.empty())
        return bad_input("job-has-no-family", "job " + run.number, "its boxes were not identified",
                         Next{"identify them: ", propose(Act::identify, {wanted("label", "PLATE…"), job(run.number)})});
    if (run.job.is_open_run())
        return bad_input("run-open", "job " + run.number, "a run has not ended: the link is silent until then",
                         Next{"mark its end first: ", propose(Act::mark, {job(run.number), given("event", "ended")}),
                              ", or broken-off"});
    return {};
}

// What the job knows of the box, before anything is opened.
Result<link::ClearOrder> order_for(const JobRun& run, const std::string& role) {
    const family::Box* box = run.family.box(role);
    if (!box)
        return bad_input("box-unknown", printable(role), "family " + run.family.id + " has no such box",
                         "name one of the family file's boxes");
    const auto plate = run.job.plates.find(role);
    if (plate == run.job.plates.end())
        return bad_input(
            "box-unknown", printable(role), "the job has no plate of it",
            Next{"identify the boxes first: ", propose(Act::identify, {wanted("label", "PLATE…"), job(run.number)})});
    const book::FaultRecord& now = run.job.faults_now();
    const auto memory = now.boxes.find(role);
    if (memory == now.boxes.end() || !memory->second.read) return not_saved(run, role);
    link::ClearOrder order;
    order.kind = box->kind;
    order.plate = plate->second;
    order.serial = serial_of(run.job, role);
    for (const book::FaultSeen& f : now.entries)
        if (f.box == role)
            order.memory.push_back({f.box, f.code, static_cast<std::uint8_t>(f.status.value_or(0) & 0xFF)});
    return order;
}

// Before anything is opened: not even a connection is wanted elsewhere.
Status on_this_machine(const std::string& typed, const std::string& box) {
    const auto equals = typed.find('=');
    const bool named = equals != std::string::npos && typed.find("://") > equals;
    const auto address = link::parse_link_address(named ? std::string_view(typed).substr(equals + 1) : typed);
    if (!address) return pass(address);
    const std::string& host = address->at.host;
    const bool here = address->can ? address->can->interface.empty()
                                   : host == "localhost" || host == "::1" || host.starts_with("127.");
    if (here) return {};
    return bad_input("clear-address", box, "clearing goes only to boxes on this machine (127.0.0.1, ::1) for now",
                     "clear it with the maker's own means, and read the memory again afterwards");
}

// The way over which the box is reached.
Result<const Way*> way_to(const OpenLink& open, const ClearRequest& request) {
    const auto box =
        std::find_if(open.boxes.begin(), open.boxes.end(), [&](const AskedBox& b) { return b.role == request.box; });
    if (box == open.boxes.end())
        return usage_error("bad-address", printable(request.at.front()),
                           "no address for the " + request.box + " is given",
                           Next{"write ", with(wanted("at", request.box + "=ADDRESS"))});
    const auto way = std::find_if(box->ways.begin(), box->ways.end(), [](const Way& w) { return w.connection; });
    if (way == box->ways.end())
        return outside_error("link-not-reachable", box->ways.front().via, box->ways.front().trouble,
                             "nothing was cleared; check cable, address and ignition");
    return &*way;
}

// The order stands in the journal before the first byte of it. When something was added to the job meanwhile, it goes
// on only if that is no run and no reading of this memory.
Status keep_order(const Workshop& shop, const JobRun& run, json::object order) {
    const book::FaultRecord& saved = run.job.faults_now();
    order["memory"] = saved.entry;
    const std::vector<NewEntry> entries{{"clearing", std::move(order)}};
    std::int64_t after = run.job.last_number;
    return until_journal_rests([&]() -> Status {
        auto kept = append_entries(shop, run.number, entries, after);
        if (kept || kept.error().code != "journal-moved") return kept;
        const auto now = load_job(shop, run.number);
        if (!now) return pass(now);
        const bool same = now->runs.size() == run.job.runs.size() && !now->is_open_run() &&
                          now->faults_now().entry == saved.entry &&
                          now->corrections.size() == run.job.corrections.size();
        if (!same)
            return bad_input("memory-moved", "job " + run.number,
                             "a run or a reading was added to the job meanwhile, so nothing was cleared",
                             "look at the job, and ask again");
        after = now->last_number;
        return kept;
    });
}

NewEntry cleared_entry(const std::string& box, const link::ClearResult& r) {
    json::array answers;
    for (const auto& a : r.answers) {
        json::object o{{"request", hex(a.request)}, {"said", link::code(a.reply.said)}};
        if (!a.reply.data.empty()) o["answer"] = hex(a.reply.data);
        if (!a.reply.why.empty()) o["why"] = a.reply.why;
        answers.push_back(std::move(o));
    }
    json::object data{
        {"box", box}, {"answered", r.certain}, {"done", texts_as_json(r.done)}, {"answers", std::move(answers)}};
    if (!r.why.empty()) data["why"] = r.why;
    return {"cleared", std::move(data)};
}

// What the box said, and what is left of it.
void judge(FaultsCleared& out) {
    const link::ClearResult& r = out.result;
    if (!r.certain)
        out.judgement.add({"clear-not-known", Verdict::cant_say, r.why + "; read the memory, don't ask again", out.box,
                           "read over the link"});
    else if (r.done.size() < out.choice.codes.size())
        out.judgement.add({"clear-refused", Verdict::cant_say, r.why, out.box, "read over the link"});
    for (const Reason& stays : out.choice.staying)
        if (std::find(r.done.begin(), r.done.end(), stays.where) == r.done.end()) out.judgement.add(stays);
    if (out.again.known != link::Known::read)
        out.judgement.add({"faults-not-read", Verdict::cant_say,
                           "its memory was not read again: " + out.again.why + "; that is not the same as none",
                           out.box, "read over the link"});
    out.judgement.add(out.faults.judgement);
}

// Nothing that may go: nothing is opened.
FaultsCleared nothing_to_clear(FaultsCleared out) {
    out.judgement.add({"clear-nothing", Verdict::cant_say, "an entry that nothing explains keeps what its cause needs",
                       out.box, "fault memory"});
    for (const Reason& r : out.choice.staying) out.judgement.add(r);
    return out;
}

// The order has been prepared: send it, keep what the box says, and read its memory again in the same connection.
Status send(const Workshop& shop, JobRun& run, link::Clearing& clearing, const Way& way, const family::Family& family,
            FaultsCleared& out) {
    out.sent = true;
    out.result = clearing.send();
    if (auto kept = append_entries(shop, run.number, {cleared_entry(out.box, out.result)}); !kept) return kept;
    out.again = link::read_memory(*way.connection, way.record);
    out.again.via = way.via;
    const Place place = run.job.faults_now().place.value_or(run.job.place);
    return append_entries(shop, run.number, {faults_entry({out.again}, family, Moment::cleared, place)});
}

// Everything between the opened link and what the box has done.
Status ask_box(const Workshop& shop, JobRun& run, const ClearRequest& request, link::ClearOrder order,
               const OpenLink& open, FaultsCleared& out) {
    const auto way = way_to(open, request);
    if (!way) return pass(way);
    order.box = (*way)->record;
    auto clearing = link::Clearing::prepare(*(*way)->connection, order);
    if (!clearing) return pass(clearing);
    // From here on it may have happened.
    if (auto kept = keep_order(shop, run,
                               {{"box", request.box},
                                {"address", fmt::format("0x{:04X}", (*way)->record.address)},
                                {"via", (*way)->via},
                                {"plate", order.plate},
                                {"serial", clearing->serial()},
                                {"codes", texts_as_json(order.codes)},
                                {"signed", texts_as_json(request.signed_for)},
                                {"allowed_by", request.allowed_by}});
        !kept)
        return pass(kept);
    return send(shop, run, *clearing, **way, open.family, out);
}

}  // namespace

Result<FaultsCleared> clear_faults(const Workshop& shop, const ClearRequest& request) {
    if (trim(request.allowed_by).empty())
        return usage_error("clear-without-name", with(flag("allowed-by")), "who allows it is not said",
                           Next{"give ", with(wanted("allowed-by", "NAME"))});
    auto run = load_last_run(shop, request.job);
    if (!run) return pass(run);
    if (auto ok = may_clear_now(*run); !ok) return pass(ok);
    auto order = order_for(*run, request.box);
    if (!order) return pass(order);
    FaultsCleared out;
    out.box = request.box;
    out.choice = prove::to_clear(faults_of(shop, *run), request.box);
    for (const auto& code : request.signed_for)
        if (std::find(out.choice.others.begin(), out.choice.others.end(), code) == out.choice.others.end())
            return bad_input(
                "sign-unknown", printable(code), "no entry of this code is stored there beside the explained ones",
                Next{"sign only for what stands in the saved memory: ", propose(Act::read_faults), " shows it"});
    if (out.choice.codes.empty()) return nothing_to_clear(std::move(out));
    for (const std::string& at : request.at)
        if (auto ok = on_this_machine(at, request.box); !ok) return pass(ok);
    order->codes = out.choice.codes;
    order->others_may_go = prove::others_may_go(out.choice, request.signed_for);
    LinkHow how = request.how;
    how.reconnects = 0;  // who answers was read in this connection
    auto open = open_links(shop, run->number, request.at, run->family.id, "", how);
    if (!open) return pass(open);
    const Status done = ask_box(shop, *run, request, *order, *open, out);
    out.recording = recording_of(open->options);
    const Status kept =
        keep_recording(shop, run->number, open->options);  // refused or failed: it was recorded all the same
    if (!done) return pass(done);
    if (!kept) return pass(kept);
    auto faults = follow_up(shop, *run);
    if (!faults) return pass(faults);
    out.faults = std::move(*faults);
    judge(out);
    return out;
}

}  // namespace fettle::workshop
