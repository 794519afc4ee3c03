// Facts that were read of the boxes, what they were asked to clear, and what was found and tried after a run broke.
#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/book/apply_parts.h"

namespace fettle::book {
namespace {

std::vector<FaultSeen> fault_entries(Members& m) {
    std::vector<FaultSeen> out;
    m.each("entries", [&](Members& f) {
        FaultSeen seen;
        seen.box = f.text_or("box");
        seen.code = f.text("code");
        seen.status = f.byte_if("status");
        out.push_back(std::move(seen));
    });
    return out;
}

// A reading over the link adds to what was read before in the same place: two boxes may be read one after the other. A
// box that was not read this time keeps what was read of it.
void take_boxes(FaultRecord& record, const std::vector<std::pair<std::string, BoxMemory>>& boxes,
                std::vector<FaultSeen> entries) {
    for (const auto& [role, memory] : boxes) {
        const auto there = record.boxes.find(role);
        if (!memory.read) {
            if (there == record.boxes.end() || !there->second.read) record.boxes[role] = memory;
            continue;
        }
        record.boxes[role] = memory;
        std::erase_if(record.entries, [&](const FaultSeen& f) { return f.box == role; });
        for (FaultSeen& f : entries)
            if (f.box == role) record.entries.push_back(std::move(f));
    }
    const auto read = static_cast<std::size_t>(
        std::count_if(record.boxes.begin(), record.boxes.end(), [](const auto& b) { return b.second.read; }));
    record.origin = read == 0 ? Origin::not_read : read == record.boxes.size() ? Origin::read : Origin::read_in_part;
}

}  // namespace

std::vector<std::string> FaultRecord::unread() const {
    std::vector<std::string> out;
    for (const auto& [role, memory] : boxes)
        if (!memory.read) out.push_back(role);
    return out;
}

// What a box gave before and was not read this time stands.
void keep_what_stands(BoxSaid& now, const BoxSaid& before) {
    for (const auto item : {&BoxSaid::plate, &BoxSaid::serial, &BoxSaid::release, &BoxSaid::market})
        if ((now.*item).empty()) now.*item = before.*item;
}

void inventory(Job& job, const Entry& e, Members& m) {
    const std::string when = m.text("when");
    if (when != "before" && when != "after") m.fail("when", "\"before\" or \"after\"");
    auto& said = when == "before" ? job.said_before : job.said_after;
    m.each("boxes", [&](Members& b) {
        const std::string role = b.text("box");
        BoxSaid now;
        now.plate = b.text_or("plate");
        now.serial = b.text_or("serial");
        now.release = b.text_or("release");
        now.market = b.text_or("market");
        if (b.has("history")) now.history = b.texts("history");
        if (b.has("installed")) now.pieces = installed_of(b, "installed");
        now.entry = e.number;
        (void)b.text_or("address");
        (void)b.text_or("via");
        if (const auto before = said.find(role); before != said.end()) keep_what_stands(now, before->second);
        said[role] = std::move(now);
    });
    Ledger ledger(job.loose_ends);
    held_against_job(ledger, job, e.number);
}

// A box whose answer to a clearing nobody saw shows by bit 4 of the status (ISO 14229-1 D.2: its test has not run since
// the last clear) what it did: listed with that bit the entry was cleared; listed without it, by a box that has the
// bit, it was not, as far as anybody can see. An entry that is not listed, or a box without the bit, tells neither.
void what_became_of(std::vector<Clearing>& clearings, const std::string& box, int availability,
                    const std::vector<FaultSeen>& entries) {
    if ((availability & 0x10) == 0) return;
    const auto add = [](std::vector<std::string>& list, const std::string& code) {
        if (std::find(list.begin(), list.end(), code) == list.end()) list.push_back(code);
    };
    std::map<std::string_view, int> listed;
    for (const FaultSeen& f : entries)
        if (f.box == box && f.status) listed.emplace(f.code, static_cast<int>(*f.status));
    for (Clearing& c : clearings) {
        if (c.box != box) continue;
        for (const auto* codes : {&c.codes, &c.done}) {
            for (const std::string& code : std::vector<std::string>(*codes)) {
                const auto f = listed.find(code);
                if (f == listed.end()) continue;
                if ((f->second & 0x10) != 0) add(c.waiting, code);
                if (c.answered || std::find(c.done.begin(), c.done.end(), code) != c.done.end()) continue;
                if ((f->second & 0x10) != 0)
                    add(c.done, code);
                else
                    add(c.unchanged, code);
            }
        }
    }
}

void faults(Job& job, const Entry& e, Members& m) {
    const std::string when = m.text("when");
    if (when != "before" && when != "after" && when != "cleared")
        m.fail("when", "\"before\", \"after\" or \"cleared\"");
    FaultRecord& record = when == "before"    ? job.faults_before
                          : when == "cleared" ? job.faults_cleared
                                              : job.faults_after;
    const std::optional<Place> place = place_of(m);
    const Origin origin = origin_of(m, "origin");
    std::vector<std::pair<std::string, BoxMemory>> boxes;
    m.each("boxes", [&](Members& b) {
        BoxMemory memory;
        const std::string role = b.text("box");
        memory.read = b.text("known") == "read";
        memory.why = b.text_or("why");
        memory.raw = b.text_or("raw");
        memory.availability = b.byte_if("availability").value_or(0);
        memory.entry = e.number;
        memory.at = e.at;
        (void)b.text_or("address");
        (void)b.text_or("via");
        b.each("details", [](Members& d) {  // kept for whoever has the maker's papers
            (void)d.text("code");
            (void)d.text_or("snapshot");
            (void)d.text_or("extended");
        });
        boxes.emplace_back(role, std::move(memory));
    });
    std::vector<FaultSeen> entries = fault_entries(m);
    if (when != "before" && record.place != place && job.faults_now().origin != Origin::not_read)
        job.faults_elsewhere = job.faults_now();
    // One box was cleared: of the others what was read after the run still stands.
    if (when == "cleared" && record.entry == 0) record = job.faults_after;
    if (boxes.empty() || record.boxes.empty() || record.place != place) record = {};
    record.place = place;
    record.at = e.at;
    record.entry = e.number;
    if (boxes.empty()) {
        record.origin = origin;
        record.entries = std::move(entries);
    } else {
        take_boxes(record, boxes, std::move(entries));
    }
    if (when == "before") return;
    if (when == "cleared")
        for (const auto& [role, memory] : boxes)
            if (memory.read) what_became_of(job.clearings, role, memory.availability, record.entries);
    Ledger ledger(job.loose_ends);
    if (when == "cleared")
        for (const auto& [role, memory] : boxes) {
            const auto last = std::find_if(job.clearings.rbegin(), job.clearings.rend(),
                                           [&, &box = role](const Clearing& c) { return c.box == box; });
            if (memory.read && last != job.clearings.rend() && !last->answered) read_unchanged(ledger, *last);
        }
    faults_recorded(ledger, job, e.number);
    for (const auto& [role, memory] : boxes)
        if (memory.read) ledger.settle("clear-" + role, "its memory was read after it", "the journal");
}

void clearing(Job& job, const Entry& e, Members& m) {
    Clearing c;
    c.entry = e.number;
    c.box = m.text("box");
    c.plate = m.text("plate");
    c.allowed_by = m.text("allowed_by");
    c.codes = m.texts("codes");
    c.signed_too = m.texts("signed");
    c.run = job.runs.size();
    c.at = e.at;
    (void)m.text_or("address");
    (void)m.text_or("via");
    (void)m.text_or("serial");
    (void)m.whole_if("memory");
    if (c.codes.empty()) m.fail("codes", "a list of at least one code");
    Ledger ledger(job.loose_ends);
    clearing_begun(ledger, c);
    job.clearings.push_back(std::move(c));
}

void cleared(Job& job, const Entry& e, Members& m) {
    const std::string box = m.text("box");
    const std::vector<std::string> done = m.texts("done");
    const std::string why = m.text_or("why");
    m.each("answers", [&](Members& a) {
        (void)a.text("request");
        (void)a.text("said");
        (void)a.text_or("answer");
        (void)a.text_or("why");
    });
    const auto c = std::find_if(job.clearings.rbegin(), job.clearings.rend(),
                                [&](const Clearing& x) { return x.box == box && !x.answered; });
    if (c == job.clearings.rend()) return;
    c->answered = m.flag("answered");
    c->done = done;
    c->why = why;
    Ledger ledger(job.loose_ends);
    clearing_answered(ledger, *c, e.number);
}

void aftermath(Job& job, const Entry& e, Members& m) {
    Aftermath a{m.text_or("power"),
                m.text_or("now"),
                m.text_or("shows"),
                m.text_or("release"),
                m.text_or("supply"),
                e.number,
                e.at};
    (void)m.text_or("by");
    if (!job.runs.empty()) job.runs.back().aftermath = std::move(a);
}

void attempt(Job& job, const Entry& e, Members& m) {
    const auto kind = mend_kind_named(m.text("kind"));
    const auto came = came_named(m.text("came"));
    if (!kind) m.fail("kind", "\"wait\", \"same card\" or another kind of attempt");
    if (!came) m.fail("came", "\"done\", \"nothing\", \"better\" or \"worse\"");
    if (!kind || !came) return;
    Attempt a{{*kind, *came}, m.text_or("by"), e.number, e.at};
    if (!job.runs.empty()) job.runs.back().attempts.push_back(std::move(a));
}

void advised(Job& job, const Entry& e, Members& m) {
    const std::string sentence = m.text("sentence");
    (void)m.text_or("first");
    const bool no_net = m.flag("no_net"), stop = m.flag("stop");
    if (job.runs.empty()) return;
    job.runs.back().advice = sentence;
    Ledger ledger(job.loose_ends);
    advice_given(ledger, job, no_net, stop, e.number);
}

}  // namespace fettle::book
