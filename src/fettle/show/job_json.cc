#include "fettle/show/job_json.h"

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

json::object faults_as_json(const book::FaultRecord& f) {
    json::array entries;
    for (const book::FaultSeen& e : f.entries)
        entries.push_back(json::object{
            {"box", e.box}, {"code", e.code}, {"status", e.status ? json::value(*e.status) : json::value(nullptr)}});
    json::object out{{"origin", json_word(code(f.origin))}, {"entries", std::move(entries)}};
    json::object raw;
    json::array not_read;
    for (const auto& [role, memory] : f.boxes)
        if (memory.read)
            raw[role] = memory.raw;
        else
            not_read.emplace_back(role);
    if (!f.boxes.empty()) {
        out["raw"] = std::move(raw);
        out["not_read"] = std::move(not_read);
    }
    return out;
}

json::object keeping_as_json(const Keeping& k) {
    return {{"id", k.id}, {"words", k.words}, {"slot", k.slot}, {"tag", k.tag}, {"returned", k.returned}};
}

json::object run_as_json(const book::Run& r) {
    json::object tally;
    for (const auto& [name, count] : r.tally) tally[name] = count;
    return {{"release", r.release},
            {"step", r.step},
            {"started", iso8601(r.started)},
            {"ended", r.ended ? json::value(iso8601(*r.ended)) : json::value(nullptr)},
            {"outcome", json_word(code(r.outcome))},
            {"against_halt", r.against_halt},
            {"marks", r.marks.size()},
            {"tally", std::move(tally)}};
}

json::object clearing_as_json(const book::Clearing& c) {
    return {{"box", c.box},          {"asked", texts_as_json(c.codes)}, {"done", texts_as_json(c.done)},
            {"certain", c.answered}, {"allowed_by", c.allowed_by},      {"signed", texts_as_json(c.signed_too)},
            {"why", c.why}};
}

json::object correction_as_json(const book::Correction& c) {
    return {{"entry", c.entry}, {"field", c.field}, {"before", c.before},
            {"after", c.after}, {"why", c.why},     {"by", c.by}};
}

}  // namespace

json::object loose_end_as_json(const book::LooseEnd& e) {
    return {{"id", e.id},
            {"words", e.words},
            {"owner", e.owner},
            {"consequence", e.consequence},
            {"open", e.open()},
            {"blocks", e.blocks},
            {"settled", e.settled},
            {"settled_how", e.settled_how},
            {"settled_by", e.settled_by},
            {"signed", e.signed_for},
            {"signed_by", e.signed_by},
            {"signed_reason", e.signed_reason}};
}

json::object job_as_json(const book::Job& j) {
    json::object plates;
    for (const auto& [role, plate] : j.plates) plates[role] = plate;
    return {{"job", j.number},
            {"opened", iso8601(j.opened)},
            {"customer", j.customer},
            {"vehicle", j.vehicle},
            {"vin", j.vin},
            {"complaint", j.complaint},
            {"place", code(j.place)},
            {"housings", j.housings ? json::value(*j.housings) : json::value(nullptr)},
            {"plates", std::move(plates)},
            {"consents", texts_as_json(j.consents)},
            {"keepings", list_as_json(j.keepings, keeping_as_json)},
            {"family", j.family},
            {"release_found", j.found_words()},
            {"market", j.market},
            {"as_found_origin", j.as_found_origin == Origin::not_read ? "" : code(j.as_found_origin)},
            {"target", j.target},
            {"steps", list_as_json(j.plan, [](const book::PlannedStep& p) { return json::value(p.release); })},
            {"card_release", j.card_release},
            {"card_audited_good", j.card_audited_good},
            {"ready", j.ready_checked ? json::value(code(j.ready_verdict)) : json::value(nullptr)},
            {"runs", list_as_json(j.runs, run_as_json)},
            {"as_left_origin", json_word(code(j.as_left_origin))},
            {"as_left_release", j.as_left_release},
            {"proved", j.proved},
            {"faults_before", faults_as_json(j.faults_before)},
            {"faults_after", faults_as_json(j.faults_after)},
            {"faults_cleared", faults_as_json(j.faults_cleared)},
            {"clearings", list_as_json(j.clearings, clearing_as_json)},
            {"loose_ends", list_as_json(j.loose_ends, loose_end_as_json)},
            {"open_ends", j.open_ends().size()},
            {"notes", texts_as_json(j.notes)},
            {"corrections", list_as_json(j.corrections, correction_as_json)},
            {"handovers", j.handovers.size()},
            {"unknown_entries", j.unknown_entries}};
}

}  // namespace fettle::show
