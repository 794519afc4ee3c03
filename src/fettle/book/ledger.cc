#include "fettle/book/ledger.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/book/against.h"

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

bool skipped(const Run& run) {
    return std::any_of(run.marks.begin(), run.marks.end(),
                       [](const RunMark& m) { return !m.undone && m.event == "skipped"; });
}

bool asked(const Run& run) {
    return std::any_of(run.marks.begin(), run.marks.end(),
                       [](const RunMark& m) { return !m.undone && m.event == "asks"; });
}

std::string fault_id(const FaultSeen& f) {
    return f.box.empty() ? "fault-" + f.code : "fault-" + f.box + "-" + f.code;
}

// ISO 14229-1 D.2. Bit 0: testFailed. Bits 4 and 6 alone say only that a test has not run.
bool failing(const FaultSeen& f) {
    return f.status && (*f.status & 0x01);
}
bool is_fault(const FaultSeen& f) {
    return !f.status || (*f.status & 0xAF) != 0;
}

// Entries of a record by their code: a memory may hold thousands.
class ByCode {
public:
    explicit ByCode(const FaultRecord& record) {
        for (const FaultSeen& f : record.entries) entries_[f.code].push_back(&f);
    }
    const FaultSeen* same(const FaultSeen& f) const {
        const auto of_code = entries_.find(f.code);
        if (of_code == entries_.end()) return nullptr;
        for (const FaultSeen* g : of_code->second)
            if (g->box == f.box || g->box.empty() || f.box.empty()) return g;
        return nullptr;
    }

private:
    std::unordered_map<std::string_view, std::vector<const FaultSeen*>> entries_;
};

}  // namespace

LooseEnd* Ledger::at(std::string_view id) {
    constexpr int few = 32;
    if (++looked_ > few) {
        for (std::size_t i = places_.size(); i < ends_.size(); ++i) places_.emplace(ends_[i].id, i);
        const auto it = places_.find(std::string(id));
        return it == places_.end() ? nullptr : &ends_[it->second];
    }
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

namespace {

// A route of several steps is done when its last one is: the owner was promised that release.
void plan_gone_on(Ledger& ledger, const Job& job, std::int64_t entry) {
    if (job.plan.empty()) return;
    const std::string &reached = job.runs.back().release, &aim = job.plan.back().release;
    if (reached == aim)
        ledger.settle("plan-rest", fmt::format("run {} reached {}", job.runs.size(), aim), "the journal");
    else if (std::any_of(job.plan.begin(), job.plan.end(), [&](const PlannedStep& s) { return s.release == reached; }))
        ledger.open(end_of("plan-rest", fmt::format("the plan goes on to {}; {} was reached", aim, reached), workshop,
                           "what the later release was wanted for is not done", entry));
}

}  // namespace

void run_started(Ledger& ledger, const Run& run, std::size_t number, std::int64_t entry) {
    ledger.open(end_of(fmt::format("run-{}", number), fmt::format("run {} to {} has not ended", number, run.release),
                       workshop, "what the box is doing is not known", entry));
    if (!run.against_halt) return;
    ledger.open(end_of(fmt::format("run-{}-halt", number),
                       fmt::format("run {} to {} was begun against a halt of the ready check", number, run.release),
                       run.by.empty() ? workshop : run.by, "the sheet says so, with the name of who signs for it",
                       entry));
}

void hold_broken(Ledger& ledger, const Run& run, const BreachSeen& breach, std::size_t number) {
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
    ledger.settle(fmt::format("run-{}", number), std::string(code(run.outcome)), "the journal");
    if (run.outcome != RunState::ended) {
        ledger.open(end_of(fmt::format("run-{}-broken", number),
                           fmt::format("run {} to {} was broken off", number, run.release), workshop,
                           "pieces of two releases may stand in the box", entry));
    } else if (run.early) {
        ledger.open(
            end_of(fmt::format("run-{}-early", number),
                   fmt::format("run {} to {} is marked as ended, and cannot have done its work", number, run.release),
                   workshop, "whether it wrote anything is not known; look at what it shows", entry));
    } else {
        for (std::size_t k = 0; k + 1 < number; ++k)
            if (job.runs[k].release == run.release) {
                for (const char* which : {"broken", "early"})
                    ledger.settle(fmt::format("run-{}-{}", k + 1, which), fmt::format("run {} ended", number),
                                  "the journal");
                for (const char* id : {"no-net", "mend-stop"})
                    ledger.settle(id, fmt::format("run {} ended", number), "the journal");
            }
        plan_gone_on(ledger, job, entry);
    }
    if (unanswered(run) > 0)
        ledger.open(end_of("ask-asks",
                           fmt::format("run {} to {}: {}", number, run.release,
                                       skipped(run) ? "the box's ask was skipped"
                                                    : "that the box's ask was answered is not on record"),
                           workshop, "a skipped ask may leave a fault entry behind", entry));
    else if (run.outcome == RunState::ended && asked(run))
        ledger.settle("ask-asks", fmt::format("answered in run {}", number), "the journal");
    ledger.open(end_of("proof", fmt::format("run {} to {} is not proved", number, run.release), workshop,
                       "nobody compared what is installed with what was planned", entry));
    const bool read_before = job.faults_before.origin != Origin::not_read;
    LooseEnd memory = end_of(read_before ? "faults-after" : "fault-memory", "fault memory not read after the run",
                             workshop, "an entry that the run left behind would not be noticed", entry);
    memory.blocks = read_before;
    ledger.open(std::move(memory));
}

// Why an entry is no loose end any more: not listed, or listed with a byte that says no fault.
std::string gone_words(const FaultSeen* listed) {
    if (!listed || !listed->status) return "no longer there at a later reading";
    return fmt::format("at a later reading it says no fault, only that its test has not run ({:02X})", *listed->status);
}

void faults_recorded(Ledger& ledger, const Job& job, std::int64_t entry) {
    const FaultRecord& now = job.faults_now();
    if (now.origin ==
        Origin::not_read) {  // said last, so it counts: what was settled by an earlier reading is open again
        for (const char* id : {"faults-after", "fault-memory"}) {
            const LooseEnd* memory = ledger.find(id);
            if (!memory || !memory->settled) continue;
            LooseEnd again = end_of(id, memory->words, memory->owner, memory->consequence, entry);
            again.blocks = memory->blocks;
            ledger.open(std::move(again));
        }
        return;
    }
    const std::vector<std::string> unread = now.unread();
    if (unread.empty()) {
        const std::string how = now.origin == Origin::read ? "read after the run" : "typed after the run";
        ledger.settle("faults-after", how, "the journal");
        ledger.settle("fault-memory", how, "the journal");
    } else {
        ledger.settle("fault-memory", "read in part", "the journal");
        ledger.open(end_of("faults-after", fmt::format("fault memory of {} not read after the run", join(unread, ", ")),
                           workshop, "an entry that the run left behind would not be noticed", entry));
    }
    const bool before_known = job.faults_before.origin != Origin::not_read;
    const auto was_read_before = [&](const std::string& box) {
        const auto b = job.faults_before.boxes.find(box);
        return before_known && (b == job.faults_before.boxes.end() || b->second.read);
    };
    const ByCode there_before(job.faults_before);
    std::unordered_map<std::string, const FaultSeen*> listed;
    for (const FaultSeen& f : now.entries) {
        listed.emplace(fault_id(f), &f);
        if (!is_fault(f)) continue;
        const FaultSeen* before = there_before.same(f);
        if (before && !(failing(f) && !failing(*before))) continue;
        const std::string where = f.box.empty() ? f.code : f.box + " " + f.code;
        std::string words = before                   ? where + " was stored before and is failing now"
                            : was_read_before(f.box) ? where + " is new after the run"
                                                     : where + " stands after the run; whether before is not known";
        if (failing(f) && !before) words += ", failing now";
        ledger.open(end_of(fault_id(f), std::move(words), workshop,
                           failing(f) ? "find the cause; clearing would only hide it" : "not explained yet", entry));
    }
    for (const LooseEnd& e : job.loose_ends) {
        const auto at = listed.find(e.id);
        const FaultSeen* there = at == listed.end() ? nullptr : at->second;
        const bool still = there && is_fault(*there);
        const bool untold = std::any_of(unread.begin(), unread.end(),
                                        [&](const std::string& box) { return e.id.starts_with("fault-" + box + "-"); });
        if (e.id.rfind("fault-", 0) == 0 && e.id != "fault-memory" && !still && !untold)
            ledger.settle(std::string(e.id), gone_words(there), "the journal");
    }
}

void held_against_job(Ledger& ledger, const Job& job, std::int64_t entry) {
    const std::vector<Otherwise> all = said_otherwise(job);
    const auto id_of = [](const Otherwise& o) { return "other-" + o.item + "-" + o.box; };
    for (const Otherwise& o : all) {
        const LooseEnd* there = ledger.find(id_of(o));
        if (there && !there->settled && there->words == words_of(o)) continue;
        ledger.open(end_of(id_of(o), words_of(o), workshop,
                           o.item == "market" ? "what was planned and laid is for another market"
                                              : "what was planned starts from another release",
                           entry));
    }
    std::vector<std::string> agreed;
    for (const LooseEnd& e : job.loose_ends) {
        const auto still = [&](const Otherwise& o) { return id_of(o) == e.id; };
        const auto after =
            e.id.starts_with("other-release-") ? job.said_after.find(e.id.substr(14)) : job.said_after.end();
        const bool reached = after != job.said_after.end() && !job.runs.empty() &&
                             trim(after->second.release) == job.runs.back().release;
        const bool now_told = e.id.starts_with("other-market-") || job.runs.empty() || reached;
        if ((e.id.starts_with("other-market-") || e.id.starts_with("other-release-")) && now_told &&
            std::none_of(all.begin(), all.end(), still))
            agreed.push_back(e.id);
    }
    for (const std::string& id : agreed) ledger.settle(id, "box and job say the same", "the journal");
}

namespace {

std::string retest_id(const Clearing& c, const std::string& code) {
    return "retest-" + c.box + "-" + code;
}

// By its own answer.
void not_cleared(Ledger& ledger, const Clearing& c) {
    for (const auto* list : {&c.codes, &c.signed_too})
        for (const std::string& code : *list)
            if (std::find(c.done.begin(), c.done.end(), code) == c.done.end())
                ledger.settle(retest_id(c, code), "it was not cleared", "the journal");
}

}  // namespace

void read_unchanged(Ledger& ledger, const Clearing& c) {
    for (const std::string& code : c.unchanged)
        if (std::find(c.done.begin(), c.done.end(), code) == c.done.end())
            ledger.settle(retest_id(c, code), "it reads as if it had not been cleared", "the journal");
}

// The obligation to test again arises with the intent: whatever ends the program behind it, it stands.
void clearing_begun(Ledger& ledger, const Clearing& c) {
    ledger.open(end_of(
        "clear-" + c.box,
        fmt::format("the {} was asked to clear {}; what became of it is not on record", c.box, join(c.codes, ", ")),
        workshop, "whether the entries are gone is not known until its memory is read", c.entry));
    for (const std::string& code : c.codes)
        ledger.open(
            end_of(retest_id(c, code), code + " was asked to be cleared and is not known to have been tested again",
                   "whoever fits the unit", "whether its cause is gone is not known until its test has run", c.entry));
}

void clearing_answered(Ledger& ledger, const Clearing& c, std::int64_t entry) {
    const std::string id = "clear-" + c.box;
    if (!c.answered) return;  // it did not say: what was open stays so
    not_cleared(ledger, c);
    for (const std::string& code : c.done)
        if (std::find(c.codes.begin(), c.codes.end(), code) == c.codes.end())  // it took only "all"
            ledger.open(end_of(retest_id(c, code), code + " was cleared and is not known to have been tested again",
                               "whoever fits the unit", "whether its cause is gone is not known until its test has run",
                               entry));
    if (c.done.empty()) {
        ledger.settle(id, "nothing was cleared: " + c.why, "the journal");
        return;
    }
    ledger.open(end_of(id,
                       fmt::format("the {} has cleared {}; its memory was not read since", c.box, join(c.done, ", ")),
                       workshop, "whether they came back is not known", entry));
}

void advice_given(Ledger& ledger, const Job& job, bool no_net, bool stop, std::int64_t entry) {
    const std::string release = job.runs.back().release;
    const auto end = [&](const char* id, bool open, std::string words, const char* who, const char* consequence) {
        if (open)
            ledger.open(end_of(id, std::move(words), who, consequence, entry));
        else
            ledger.settle(id, "not so by what was seen later", "the journal");
    };
    end("no-net", no_net, fmt::format("after the run to {} it starts, but its net is not whole", release), workshop,
        "a further mishap would be caught by nothing; the update is to be finished first");
    end("mend-stop", stop, fmt::format("after the run to {} no attempt is left that may be made here", release),
        "a repair shop equipped for it", "the unit stays as it is");
}

void proof_outdated(Ledger& ledger, const Job& job, std::int64_t entry) {
    if (job.runs.empty()) return;
    ledger.open(end_of("proof", "what is installed was said again since it was compared", workshop,
                       "what was proved was proved of something else", entry));
}

void proof_recorded(Ledger& ledger, const Job& job, std::int64_t entry) {
    if (job.proved == "proved") {
        ledger.settle("proof", "proved", "the journal");
        if (!job.runs.empty())
            ledger.settle(fmt::format("run-{}-early", job.runs.size()), "proved piece by piece", "the journal");
        return;
    }
    const bool pieces_known = std::none_of(job.proof.begin(), job.proof.end(), [](const Reason& r) {
        return r.code == "as-left-not-read" || r.code == "as-left-inferred";
    });
    ledger.open(end_of("proof", job.proved == "failed" ? "the proof failed" : "proved in part only", workshop,
                       job.proved == "failed" ? "what is installed is not, or not all, what was planned"
                       : pieces_known         ? "not all that proof needs was seen; the proof says what is wanted"
                                              : "what is installed is not known piece by piece",
                       entry));
}

}  // namespace fettle::book
