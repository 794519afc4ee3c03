#include "fettle/book/ledger.h"

#include <fmt/core.h>

#include <algorithm>

namespace fettle::book {
namespace {

LooseEnd end_of(std::string id, std::string words, std::string owner, std::string consequence, std::int64_t entry) {
    LooseEnd e;
    e.id = std::move(id);
    e.words = std::move(words);
    e.owner = std::move(owner);
    e.consequence = std::move(consequence);
    e.entry = entry;
    return e;
}

constexpr const char* workshop = "workshop";

// How often the box asked in this run without being marked as answered.
int unanswered(const Run& run) {
    int open = 0, skipped = 0;
    for (const RunMark& m : run.marks) {
        if (m.undone) continue;
        if (m.event == "asks") ++open;
        if (m.event == "answered" && open > 0) --open;
        if (m.event == "skipped") {
            ++skipped;
            if (open > 0) --open;
        }
    }
    return open + skipped;
}

bool asked(const Run& run) {
    return std::any_of(run.marks.begin(), run.marks.end(),
                       [](const RunMark& m) { return !m.undone && m.event == "asks"; });
}

std::string fault_id(const FaultSeen& f) {
    return f.box.empty() ? "fault-" + f.code : "fault-" + f.box + "-" + f.code;
}

bool failing(const FaultSeen& f) {
    return f.status && (*f.status & 1);  // ISO 14229-1 D.2, bit 0: testFailed
}

const FaultSeen* same_in(const FaultRecord& record, const FaultSeen& f) {
    for (const FaultSeen& g : record.entries)
        if (g.code == f.code && (g.box == f.box || g.box.empty() || f.box.empty())) return &g;
    return nullptr;
}

}  // namespace

LooseEnd* Ledger::at(std::string_view id) {
    const auto it = std::find_if(ends_.begin(), ends_.end(), [&](const LooseEnd& e) { return e.id == id; });
    return it == ends_.end() ? nullptr : &*it;
}

const LooseEnd* Ledger::find(std::string_view id) const {
    return const_cast<Ledger*>(this)->at(id);  // the same search; nothing is written through it
}

void Ledger::open(LooseEnd end) {
    if (LooseEnd* there = at(end.id))
        *there = std::move(end);
    else
        ends_.push_back(std::move(end));
}

void Ledger::settle(std::string_view id, std::string how, std::string by) {
    LooseEnd* e = at(id);
    if (!e || e->settled) return;
    e->settled = true;
    e->settled_how = std::move(how);
    e->settled_by = std::move(by);
}

void Ledger::sign(std::string_view id, std::string reason, std::string by) {
    LooseEnd* e = at(id);
    if (!e) return;
    e->signed_for = true;
    e->signed_reason = std::move(reason);
    e->signed_by = std::move(by);
}

void run_started(Ledger& ledger, const Run& run, std::size_t number, std::int64_t entry) {
    ledger.open(end_of(fmt::format("run-{}", number), fmt::format("run {} to {} has not ended", number, run.release),
                       workshop, "what the box is doing is not known", entry));
    if (!run.against_halt) return;
    ledger.open(end_of(fmt::format("run-{}-halt", number),
                       fmt::format("run {} to {} was begun against a halt of the ready check", number, run.release),
                       run.by.empty() ? workshop : run.by, "the sheet says so, with the name of who signs for it",
                       entry));
}

void hold_broken(Ledger& ledger, const Run& run, const Breach& breach, std::size_t number) {
    LooseEnd end = end_of(fmt::format("run-{}-hold-{}", number, breach.hold),
                          fmt::format("run {} to {}: {} was seen broken ({}: {})", number, run.release, breach.hold,
                                      breach.witness, breach.words),
                          workshop, "what it did to the run is to be looked at before the unit goes", breach.entry);
    end.blocks = false;
    ledger.open(std::move(end));
}

void run_ended(Ledger& ledger, const Job& job, std::int64_t entry) {
    const Run& run = job.runs.back();
    const std::size_t number = job.runs.size();
    ledger.settle(fmt::format("run-{}", number), run.outcome, "the journal");
    if (run.outcome != "ended") {
        ledger.open(end_of(fmt::format("run-{}-broken", number),
                           fmt::format("run {} to {} was broken off", number, run.release), workshop,
                           "pieces of two releases may stand in the box", entry));
    } else {
        for (std::size_t k = 0; k + 1 < number; ++k)
            if (job.runs[k].release == run.release)
                ledger.settle(fmt::format("run-{}-broken", k + 1), fmt::format("run {} ended", number), "the journal");
        if (unanswered(run) > 0)
            ledger.open(end_of(
                "ask-asks",
                fmt::format("run {} to {}: that the box's ask was answered is not on record", number, run.release),
                workshop, "a skipped ask may leave a fault entry behind", entry));
        else if (asked(run))
            ledger.settle("ask-asks", fmt::format("answered in run {}", number), "the journal");
    }
    ledger.open(end_of("proof", fmt::format("run {} to {} is not proved", number, run.release), workshop,
                       "nobody compared what is installed with what was planned", entry));
    const bool read_before = job.faults_before.origin != "not read";
    LooseEnd memory = end_of(read_before ? "faults-after" : "fault-memory", "fault memory not read after the run",
                             workshop, "an entry that the run left behind would not be noticed", entry);
    memory.blocks = read_before;
    ledger.open(std::move(memory));
}

void faults_recorded(Ledger& ledger, const Job& job, std::int64_t entry) {
    const FaultRecord& after = job.faults_after;
    if (after.origin == "not read") {  // said last, so it counts: what was settled by an earlier reading is open again
        for (const char* id : {"faults-after", "fault-memory"}) {
            const LooseEnd* memory = ledger.find(id);
            if (!memory || !memory->settled) continue;
            LooseEnd again = end_of(id, memory->words, memory->owner, memory->consequence, entry);
            again.blocks = memory->blocks;
            ledger.open(std::move(again));
        }
        return;
    }
    const std::string how = after.origin == "read" ? "read after the run" : "typed after the run";
    ledger.settle("faults-after", how, "the journal");
    ledger.settle("fault-memory", how, "the journal");
    const bool before_known = job.faults_before.origin != "not read";
    for (const FaultSeen& f : after.entries) {
        const FaultSeen* before = same_in(job.faults_before, f);
        if (before && !(failing(f) && !failing(*before))) continue;
        const std::string where = f.box.empty() ? f.code : f.box + " " + f.code;
        std::string words = before         ? where + " was stored before and is failing now"
                            : before_known ? where + " is new after the run"
                                           : where + " stands after the run; whether before is not known";
        if (failing(f) && !before) words += ", failing now";
        ledger.open(end_of(fault_id(f), std::move(words), workshop,
                           failing(f) ? "find the cause; clearing would only hide it" : "not explained yet", entry));
    }
    for (const LooseEnd& e : job.loose_ends) {
        const bool still = std::any_of(after.entries.begin(), after.entries.end(),
                                       [&](const FaultSeen& f) { return fault_id(f) == e.id; });
        if (e.id.rfind("fault-", 0) == 0 && e.id != "fault-memory" && !still)
            ledger.settle(std::string(e.id), "no longer there at a later reading", "the journal");
    }
}

void proof_recorded(Ledger& ledger, const Job& job, std::int64_t entry) {
    if (job.proved == "proved") {
        ledger.settle("proof", "proved", "the journal");
        return;
    }
    ledger.open(end_of("proof", job.proved == "failed" ? "the proof failed" : "proved in part only", workshop,
                       job.proved == "failed" ? "what is installed is not, or not all, what was planned"
                                              : "what is installed is not known piece by piece",
                       entry));
}

}  // namespace fettle::book
