#include "fettle/workshop/job_faults.h"

#include <fmt/core.h>

#include <algorithm>
#include <unordered_map>

#include "fettle/workshop/asks_skipped.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::workshop {
namespace {

bool on_bench(const JobRun& run, const book::FaultRecord& record) {
    return record.place.value_or(run.job.place) == Place::bench;
}

bool has(const std::vector<std::string>& list, const std::string& code) {
    return std::find(list.begin(), list.end(), code) != list.end();
}

// Every entry that a box was asked to clear since the run, but for those of which its answer or a later reading says
// that it did not. Of an entry that was asked for twice the last request counts.
std::vector<prove::Cleared> cleared(const JobRun& run, const book::FaultRecord& record) {
    std::vector<prove::Cleared> out;
    for (const book::Clearing& c : run.job.clearings) {
        if (c.run != run.job.runs.size()) continue;
        const auto memory = record.boxes.find(c.box);
        const bool known = memory != record.boxes.end() && memory->second.read;
        const bool read_since = (known ? memory->second.entry : record.entry) > c.entry;
        const UnixMs at = known ? memory->second.at : record.at;
        std::vector<std::string> codes = c.done;
        for (const std::string& code : c.codes)
            if (!c.answered && !has(c.done, code) && !has(c.unchanged, code)) codes.push_back(code);
        for (const std::string& code : codes) {
            std::erase_if(out, [&](const prove::Cleared& x) { return x.fault.box == c.box && x.fault.code == code; });
            out.push_back({{c.box, code, std::nullopt},
                           c.answered || has(c.done, code),
                           has(c.waiting, code),
                           read_since,
                           static_cast<double>(at - c.at) / 1000});
        }
    }
    return out;
}

prove::Circumstances circumstances(const Workshop& shop, const JobRun& run, const book::FaultRecord& record) {
    prove::Circumstances c;
    c.on_bench = on_bench(run, record);
    c.asks_skipped = asks_skipped(run.family, run.job);
    c.cleared = cleared(run, record);
    if (!run.job.runs.empty()) {
        for (const SupplySample& s :
             recorded_supply(shop, run.number, run.job.runs.size(), run.job.runs.back()).samples)
            if (s.has_volts()) c.lowest_V = c.lowest_V ? std::min(*c.lowest_V, s.volts) : s.volts;
    }
    return c;
}

std::string end_id(const char* kind, const prove::Fault& f) {
    return std::string(kind) + "-" + (f.box.empty() ? "" : f.box + "-") + f.code;  // as the book names it
}

}  // namespace

prove::FaultMemory memory_of(const book::FaultRecord& record) {
    prove::FaultMemory out;
    out.origin = code(record.origin);
    if (record.origin == Origin::not_read) return out;
    out.entries.emplace();
    for (const book::FaultSeen& f : record.entries) {
        prove::Fault fault{f.box, f.code, std::nullopt};
        if (f.status) fault.status = static_cast<std::uint8_t>(*f.status & 0xFF);
        out.entries->push_back(std::move(fault));
    }
    out.unread = record.unread();
    for (const auto& [role, memory] : record.boxes)
        if (memory.read) out.availability[role] = static_cast<std::uint8_t>(memory.availability);
    return out;
}

prove::Faults faults_of(const Workshop& shop, const JobRun& run) {
    const book::FaultRecord& now = run.job.faults_now();
    const prove::FaultMemory before = memory_of(run.job.faults_before);
    prove::Circumstances c = circumstances(shop, run, now);
    if (const book::FaultRecord& bench = run.job.faults_elsewhere; !c.on_bench && on_bench(run, bench)) {
        const prove::Faults then =
            prove::attribute(run.family, before, memory_of(bench), circumstances(shop, run, bench));
        for (const prove::Attributed& a : then.entries)
            if (a.kind == prove::Kind::partner) c.missed_partner.push_back(a.fault);
    }
    return prove::attribute(run.family, before, memory_of(now), c);
}

std::vector<NewEntry> ends_that_follow(const JobRun& run, const prove::Faults& faults) {
    std::vector<NewEntry> out;
    std::unordered_map<std::string_view, const book::LooseEnd*> ends;  // a memory may hold thousands
    for (const book::LooseEnd& e : run.job.loose_ends) ends.emplace(e.id, &e);
    const auto known = [&](const std::string& id) {
        const auto e = ends.find(id);
        return e == ends.end() ? nullptr : e->second;
    };
    const auto open = [&](const std::string& id, const std::string& words, const char* owner, const char* consequence) {
        const book::LooseEnd* there = known(id);
        if (there && there->words == words && !there->settled) return;
        out.push_back({"loose-end", {{"id", id}, {"words", words}, {"owner", owner}, {"consequence", consequence}}});
    };
    const auto settle = [&](const std::string& id, const std::string& how) {
        const book::LooseEnd* there = known(id);
        if (there && !there->settled) out.push_back({"settled", {{"id", id}, {"how", how}, {"by", "the reading"}}});
    };
    for (const prove::Attributed& a : faults.entries) {
        const std::string fault = end_id("fault", a.fault), retest = end_id("retest", a.fault);
        switch (a.kind) {
            case prove::Kind::partner:
                // An obligation of whoever puts the unit back beside that partner.
                open(fault, a.fault.code + " is to be read again in the vehicle, with its partner connected",
                     "whoever fits the unit", "whether the fault is real stays unknown until then");
                settle(retest, "tested again: it fails without its partner");
                break;
            case prove::Kind::partner_good: settle(fault, a.why); break;
            case prove::Kind::explained:
                open(fault, a.why, "workshop", "it stays stored until somebody who may clears it");
                break;
            case prove::Kind::cleared_waits:
            case prove::Kind::cleared_unknown:
                open(retest, a.fault.code + " was cleared and is not known to have been tested again",
                     "whoever fits the unit", "whether its cause is gone is not known until its test has run");
                break;
            case prove::Kind::cleared_good:
                settle(retest, a.why);
                settle(fault, a.why);
                break;
            case prove::Kind::back:
            case prove::Kind::active: settle(retest, "tested again: it failed"); break;
            default: break;
        }
    }
    return out;
}

Result<prove::Faults> follow_up(const Workshop& shop, JobRun& run) {
    return until_journal_rests([&]() -> Result<prove::Faults> {
        auto job = load_job(shop, run.number);
        if (!job) return pass(job);
        run.job = std::move(*job);
        prove::Faults faults = faults_of(shop, run);
        const std::vector<NewEntry> ends = ends_that_follow(run, faults);
        if (ends.empty()) return faults;
        if (auto kept = append_entries(shop, run.number, ends, run.job.last_number); !kept) return pass(kept);
        return faults;
    });
}

}  // namespace fettle::workshop
