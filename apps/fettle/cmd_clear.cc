// fettle link clear: the one command that changes something in a box. What is certain stands in the journal at every
// instant: the order before anything is sent, the box's answers behind it, then the memory as it was read again.
#include <fmt/core.h>

#include <algorithm>

#include "cmd_link.h"
#include "fettle/base/text.h"
#include "fettle/link/clear.h"
#include "fettle/show/faults.h"
#include "fettle/show/print.h"
#include "fettle/workshop/job_faults.h"
#include "fettle/workshop/link_entries.h"
#include "fettle/workshop/link_open.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

struct Chosen {
    std::vector<std::string> codes;   // explained and not failing
    std::vector<std::string> others;  // stored beside them
    std::vector<Reason> standing;     // why each of the others may not go
};

Chosen chosen(const prove::Faults& faults, const std::string& box) {
    Chosen out;
    for (const prove::Attributed& a : faults.entries) {
        if (a.fault.box != box || !a.fault.status || !prove::has_failed(*a.fault.status)) continue;
        if (a.may_be_cleared) {
            out.codes.push_back(a.fault.code);
            continue;
        }
        if (a.kind == prove::Kind::gone) continue;
        out.others.push_back(a.fault.code);
        out.standing.push_back({"fault-stays", Verdict::mind, fmt::format("{} stays: {}", a.fault.code, a.why),
                                a.fault.code, "status byte"});
    }
    return out;
}

tl::unexpected<Error> not_saved(const JobRun& run, const std::string& box) {
    if (run.job.runs.empty())
        return bad_input("no-run", "job " + run.number,
                         "no run was begun, and only what a run has left behind is cleared",
                         "what stands there before it is the owner's to hear of");
    return bad_input("memory-not-saved", "job " + run.number,
                     fmt::format("the fault memory of the {} was not read over the link after the last run", box),
                     fmt::format("save it first: fettle link faults --at ADDRESS --job {}", run.number));
}

// What the job knows of the box, before anything is opened.
Result<link::ClearOrder> order_for(const JobRun& run, const LinkClearOptions& options) {
    const family::Box* box = run.family.box(options.box);
    if (!box)
        return bad_input("box-unknown", printable(options.box), "family " + run.family.id + " has no such box",
                         "name one of the family file's boxes");
    const auto plate = run.job.plates.find(options.box);
    if (plate == run.job.plates.end())
        return bad_input("box-unknown", printable(options.box), "the job has no plate of it",
                         "identify the boxes first: fettle identify PLATE… --job " + run.number);
    const book::FaultRecord& now = run.job.faults_now();
    const auto memory = now.boxes.find(options.box);
    if (memory == now.boxes.end() || !memory->second.read) return not_saved(run, options.box);
    link::ClearOrder order;
    order.kind = box->kind;
    order.plate = plate->second;
    for (const auto* said : {&run.job.said_before, &run.job.said_after})
        if (const auto s = said->find(options.box); s != said->end() && !s->second.serial.empty())
            order.serial = s->second.serial;
    for (const book::FaultSeen& f : now.entries)
        if (f.box == options.box)
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

boost::json::array texts(const std::vector<std::string>& list) {
    boost::json::array out;
    for (const auto& t : list) out.push_back(boost::json::string(t));
    return out;
}

NewEntry cleared_entry(const std::string& box, const link::ClearResult& r) {
    boost::json::array answers;
    for (const auto& a : r.answers) {
        boost::json::object o{{"request", hex(a.request)}, {"said", link::code(a.reply.said)}};
        if (!a.reply.data.empty()) o["answer"] = hex(a.reply.data);
        if (!a.reply.why.empty()) o["why"] = a.reply.why;
        answers.push_back(std::move(o));
    }
    boost::json::object data{
        {"box", box}, {"answered", r.certain}, {"done", texts(r.done)}, {"answers", std::move(answers)}};
    if (!r.why.empty()) data["why"] = r.why;
    return {"cleared", std::move(data)};
}

}  // namespace

Result<Answer> link_clear(Context& context, const LinkClearOptions& options) {
    if (trim(options.allowed_by).empty())
        return usage_error("clear-without-name", "--allowed-by", "who allows it is not said", "give --allowed-by NAME");
    auto run = load_last_run(context, options.job);
    if (!run) return pass(run);
    context.job = run->number;
    if (run->job.family.empty())
        return bad_input("job-has-no-family", "job " + run->number, "its boxes were not identified",
                         "run identify with --job " + run->number);
    if (run->job.is_open_run())
        return bad_input("run-open", "job " + run->number, "a run has not ended: the link is silent until then",
                         "mark its end first: fettle mark " + run->number + " ended, or broken-off");
    auto order = order_for(*run, options);
    if (!order) return pass(order);
    const Chosen choice = chosen(faults_of(context, *run), options.box);
    for (const auto& code : options.signed_for)
        if (std::find(choice.others.begin(), choice.others.end(), code) == choice.others.end())
            return bad_input("sign-unknown", printable(code),
                             "no entry of this code is stored there beside the explained ones",
                             "sign only for what stands in the saved memory: fettle link faults shows it");
    Answer a;
    a.job = run->number;
    a.data = {{"box", options.box}, {"sent", false},     {"certain", true},
              {"asked", texts({})}, {"done", texts({})}, {"stay", texts(choice.others)}};
    if (choice.codes.empty()) {
        a.headline = fmt::format("Nothing was cleared: no entry of the {} is explained and not failing.", options.box);
        a.judgement.add({"clear-nothing", Verdict::cant_say,
                         "an entry that nothing explains keeps what its cause needs", options.box, "fault memory"});
        for (const Reason& r : choice.standing) a.judgement.add(r);
        return a;
    }
    for (const std::string& at : options.at)
        if (auto ok = on_this_machine(at, options.box); !ok) return pass(ok);
    order->codes = choice.codes;
    order->others_may_go =
        !choice.others.empty() && std::all_of(choice.others.begin(), choice.others.end(), [&](const std::string& code) {
            const auto& s = options.signed_for;
            return std::find(s.begin(), s.end(), code) != s.end();
        });
    auto open = open_links(context, context.job, options.at, run->family.id, "");
    if (!open) return pass(open);
    const auto box =
        std::find_if(open->boxes.begin(), open->boxes.end(), [&](const AskedBox& b) { return b.role == options.box; });
    if (box == open->boxes.end())
        return usage_error("bad-address", printable(options.at.front()),
                           "no address for the " + options.box + " is given",
                           fmt::format("write --at {}=ADDRESS", options.box));
    const auto way = std::find_if(box->ways.begin(), box->ways.end(), [](const Way& w) { return w.connection; });
    if (way == box->ways.end())
        return outside_error("link-not-reachable", box->ways.front().via, box->ways.front().trouble,
                             "nothing was cleared; check cable, address and ignition");
    order->box = way->record;
    auto clearing = link::Clearing::prepare(*way->connection, *order);
    if (!clearing) return pass(clearing);
    // From here on it may have happened: the order stands in the journal before the first byte, and only if nothing was
    // added to the job since it was read.
    const NewEntry intent{"clearing",
                          {{"box", options.box},
                           {"address", fmt::format("0x{:04X}", way->record.address)},
                           {"via", way->via},
                           {"plate", order->plate},
                           {"serial", clearing->serial()},
                           {"memory", run->job.faults_now().entry},
                           {"codes", texts(choice.codes)},
                           {"signed", texts(options.signed_for)},
                           {"allowed_by", options.allowed_by}}};
    if (auto kept = append_entries(context, run->number, {intent}, run->job.last_number); !kept) return pass(kept);
    const link::ClearResult result = clearing->send();
    if (auto kept = append_entries(context, run->number, {cleared_entry(options.box, result)}); !kept)
        return pass(kept);
    // Read again, in the same connection.
    link::BoxFaults again = link::read_memory(*way->connection, way->record);
    again.via = way->via;
    const book::FaultRecord& saved = run->job.faults_now();
    const std::string place = !saved.place.empty() ? saved.place : run->on_bench() ? "bench" : "vehicle";
    if (auto kept = append_entries(context, run->number, {faults_entry({again}, open->family, "cleared", place)});
        !kept)
        return pass(kept);
    auto job = load_job(context, run->number);
    if (!job) return pass(job);
    run->job = std::move(*job);
    const prove::Faults f = faults_of(context, *run);
    a.entries = recorded_entry(context, context.job, open->options);
    for (NewEntry& e : ends_that_follow(*run, f)) a.entries.push_back(std::move(e));
    a.data["sent"] = true;
    a.data["all"] = result.all;
    a.data["certain"] = result.certain;
    a.data["asked"] = texts(choice.codes);
    a.data["done"] = texts(result.done);
    a.data["after"] = faults_as_json(std::vector<link::BoxFaults>{again});
    a.data["faults"] = show::faults_as_json(f);
    if (!result.certain) {
        a.headline =
            fmt::format("The {} was asked to clear and did not answer: whether it did is not known.", options.box);
        a.judgement.add({"clear-not-known", Verdict::cant_say, result.why + "; read the memory, don't ask again",
                         options.box, "read over the link"});
    } else if (result.done.empty()) {
        a.headline = fmt::format("Nothing was cleared: the {} does not do it.", options.box);
        a.judgement.add({"clear-refused", Verdict::cant_say, result.why, options.box, "read over the link"});
    } else {
        a.headline = fmt::format("The {} has cleared {}{}; allowed by {}.", options.box, join(result.done, ", "),
                                 result.all ? " (it takes only \"all\")" : "", printable(options.allowed_by));
        if (result.done.size() < choice.codes.size())
            a.judgement.add({"clear-refused", Verdict::cant_say, result.why, options.box, "read over the link"});
    }
    for (const Reason& r : choice.standing)
        if (std::find(result.done.begin(), result.done.end(), r.where) == result.done.end()) a.judgement.add(r);
    if (again.known != link::Known::read)
        a.judgement.add({"faults-not-read", Verdict::cant_say,
                         "its memory was not read again: " + again.why + "; that is not the same as none", options.box,
                         "read over the link"});
    a.text = faults_as_text(f) + recording_line(open->options);
    a.judgement.add(f.judgement);
    return a;
}

}  // namespace fettle::app
