// What happens from the start of a run to its end: marks, texts, tallies, broken holds, calls, and how long it took.
#include <algorithm>

#include "fettle/book/apply_parts.h"

namespace fettle::book {

void started(Job& job, const Entry& e, Members& m) {
    Run run;
    run.release = m.text("release");
    run.step = static_cast<int>(std::clamp<std::int64_t>(m.whole_if("step").value_or(0), 0, 1000));
    run.against_halt = m.flag("against_halt");
    run.by = m.text_or("by");
    run.continued = m.flag("continued");
    run.expected = m.object_if("expected");
    run.started = instant_of(e, m);
    run.id = e.digest.substr(0, 16);
    job.runs.push_back(std::move(run));
    job.as_left_origin = Origin::not_read;
    job.as_left_release.clear();
    job.as_left.clear();
    job.as_left_history.reset();
    job.offered_otherwise.clear();
    job.proved.clear();
    job.proof.clear();
    job.proof_verdict = Verdict::cant_say;
    job.faults_after = {};
    job.faults_cleared = job.faults_elsewhere = {};
    job.said_after.clear();
    // What was looked at just before this run says nothing of the next one: the medium is another, the doors were open.
    std::erase_if(job.answers, [](const auto& answer) {
        const std::string& key = answer.first;
        return key == "holds" || key.starts_with("hold.") || key == "slots" || key == "engine" || key == "bay-door" ||
               key == "extraction" || key == "stop-start" || key == "person" || key.starts_with("person.") ||
               key == "supply.output" || key == "supply.measured_v";
    });
    std::erase_if(job.answers_read, [&](const auto& read) { return !job.answers.contains(read.first); });
    Ledger ledger(job.loose_ends);
    run_started(ledger, job.runs.back(), job.runs.size(), e.number);
}

// Marks, texts and tallies belong to the last run, also shortly after its end; before any run they stay in the journal.
void mark(Job& job, const Entry& e, Members& m) {
    RunMark mark{e.number, m.text("event"),  instant_of(e, m), m.text("source"),
                 false,    m.text_or("how"), m.text_or("area")};
    if (!job.runs.empty()) job.runs.back().marks.push_back(std::move(mark));
}

void shows(Job& job, const Entry& e, Members& m) {
    TextSeen seen{e.number, m.text("text"), m.text_or("source", "tap"), instant_of(e, m), false};
    if (job.runs.empty()) return;
    job.runs.back().shown.push_back(seen.text);
    job.runs.back().texts.push_back(std::move(seen));
}

void tally(Job& job, const Entry& e, Members& m) {
    TallySeen seen;
    seen.entry = e.number;
    seen.at = instant_of(e, m);
    seen.source = m.text_or("source", "tap");
    for (const char* name : {"landed", "passed_over", "refused", "to_come"})
        if (m.whole_if(name)) seen.counts[name] = count_of(m, name);
    if (seen.counts.empty()) m.fail("landed", "there, or one of passed_over, refused, to_come");
    if (job.runs.empty()) return;
    job.runs.back().tally = seen.counts;
    job.runs.back().tallies.push_back(std::move(seen));
}

// A hold that was seen broken, by an instrument or by a person's tap.
void breach(Job& job, const Entry& e, Members& m) {
    BreachSeen b{{m.text("hold"), m.text("witness"), m.text("words"), instant_of(e, m)}, e.number, false};
    if (b.witness != "voltage" && b.witness != "bus" && b.witness != "tap")
        m.fail("witness", "\"voltage\", \"bus\" or \"tap\"");
    if (job.runs.empty()) return;
    job.runs.back().breaches.push_back(b);
    Ledger ledger(job.loose_ends);
    hold_broken(ledger, job.runs.back(), b, job.runs.size());
}

void unmark(Job& job, const Entry&, Members& m) {
    const std::int64_t number = m.whole("entry");
    for (Run& run : job.runs) {
        for (BreachSeen& b : run.breaches) b.undone = b.undone || b.entry == number;
        for (RunMark& mark : run.marks) mark.undone = mark.undone || mark.entry == number;
        run.shown.clear();
        for (TextSeen& t : run.texts) {
            t.undone = t.undone || t.entry == number;
            if (!t.undone) run.shown.push_back(t.text);
        }
        run.tally.clear();
        for (TallySeen& t : run.tallies) {
            t.undone = t.undone || t.entry == number;
            if (!t.undone) run.tally = t.counts;
        }
    }
}

void ended(Job& job, const Entry& e, Members& m) {
    const std::string outcome = m.text("outcome");
    const bool broke = outcome == code(RunState::broken_off);
    if (!broke && outcome != code(RunState::ended)) m.fail("outcome", "\"ended\" or \"broken off\"");
    const UnixMs at = instant_of(e, m);
    const bool early = m.flag("early");
    if (!job.is_open_run()) return;
    job.runs.back().outcome = broke ? RunState::broken_off : RunState::ended;
    job.runs.back().ended = std::max(at, job.runs.back().started);
    job.runs.back().ended_entry = e.number;
    job.runs.back().ended_at_entry = e.at;
    job.runs.back().early = early && !broke;
    Ledger ledger(job.loose_ends);
    run_ended(ledger, job, e.number);
}

void called(Job& job, const Entry& e, Members& m) {
    CallMade call{m.text("key"), count_of(m, "rung"), e.at};
    (void)m.text_or("words");
    (void)m.texts("by");
    (void)m.texts("failed");
    if (!job.runs.empty()) job.runs.back().calls.push_back(std::move(call));
}

void series(Job& job, const Entry&, Members& m) {
    SeriesChunk c;
    c.kind = m.text("kind");
    c.file = m.text("file");
    c.sha256 = m.text("sha256");
    c.from = static_cast<std::uint64_t>(std::max<std::int64_t>(0, m.whole("from")));
    c.bytes = static_cast<std::uint64_t>(std::max<std::int64_t>(0, m.whole("bytes")));
    if (!job.runs.empty()) job.runs.back().series.push_back(std::move(c));
}

void times(Job& job, const Entry& e, Members& m) {
    RunTimes t;
    t.entry = e.number;
    t.doubt = m.text_or("doubt");
    (void)m.text("family");
    (void)m.text("release");
    t.seconds = m.number_or("seconds");
    t.promised_p50_s = m.number_or("promised_p50_s");
    t.promised_p90_s = m.number_or("promised_p90_s");
    t.kept = m.flag("kept");
    t.loss_s = m.number_or("loss_s");
    if (!(t.seconds > 0)) m.fail("seconds", "more than 0");
    if (!job.runs.empty()) job.runs.back().times = t;
}

}  // namespace fettle::book
