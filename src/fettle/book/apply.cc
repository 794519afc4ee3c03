// One function a type of entry, in the order of docs/journal.md.
#include <algorithm>

#include "fettle/book/apply_parts.h"

namespace fettle::book {

namespace {
constexpr std::string_view one_way = "one-way";
}

UnixMs instant_of(const Entry& e, Members& m) {
    const double ago_s = m.number_or("ago_s");
    if (!(ago_s >= 0 && ago_s <= 30 * 86400.0)) m.fail("ago_s", "seconds, at most 30 days");
    return e.at - static_cast<UnixMs>(std::clamp(ago_s, 0.0, 30 * 86400.0) * 1000);
}

std::vector<Installed> installed_of(Members& m, std::string_view key) {
    std::vector<Installed> out;
    m.each(key, [&](Members& p) { out.push_back({p.text("box"), p.text("name"), p.text("version"), {}}); });
    return out;
}

std::optional<Place> place_of(Members& m) {
    const std::string word = m.text_or("place");
    const auto place = place_named(word);
    if (!word.empty() && !place) m.fail("place", "\"bench\" or \"vehicle\"");
    return place;
}

Origin origin_of(Members& m, std::string_view key) {
    const auto origin = origin_named(m.text(key));
    if (!origin) m.fail(key, "\"not read\", \"inferred\", \"typed\", \"read in part\" or \"read\"");
    return origin.value_or(Origin::not_read);
}

int count_of(Members& m, std::string_view key) {
    const std::int64_t n = m.whole_if(key).value_or(0);
    if (n < 0 || n > 10'000'000) m.fail(key, "a count");
    return static_cast<int>(std::clamp<std::int64_t>(n, 0, 10'000'000));
}

namespace {

void opened(Job& job, const Entry& e, Members& m) {
    job.opened = e.at;
    job.customer = m.text("customer");
    job.vehicle = m.text_or("vehicle");
    job.vin = m.text_or("vin");
    job.complaint = m.text_or("complaint");
    job.place = place_of(m).value_or(Place::bench);
    if (const auto n = m.whole_if("housings")) {
        if (*n < 0 || *n > 100) m.fail("housings", "between 0 and 100");
        job.housings = static_cast<int>(*n);
    }
    int k = 0;
    for (const std::string& plate : m.texts("boxes")) job.plates["box " + std::to_string(++k)] = plate;
    job.consents = m.texts("consents");
    if (std::find(job.consents.begin(), job.consents.end(), one_way) != job.consents.end()) job.one_way_doors.emplace();
}

void kept(Job& job, const Entry& e, Members& m) {
    Keeping k{m.text("id"), m.text("words"), m.text_or("slot"), m.text_or("tag"), false};
    if (k.id.empty()) m.fail("id", "a text");
    LooseEnd end;
    end.id = k.id;
    end.words = k.words + (k.slot.empty() ? "" : " in " + k.slot) + (k.tag.empty() ? "" : " (tag " + k.tag + ")") +
                " is to go back to the owner";
    end.owner = "workshop";
    end.consequence = "the owner drives off without it";
    end.entry = e.number;
    job.keepings.push_back(std::move(k));
    Ledger(job.loose_ends).open(std::move(end));
}

void returned(Job& job, const Entry&, Members& m) {
    const std::string id = m.text("id");
    for (Keeping& k : job.keepings)
        if (k.id == id) k.returned = true;
    Ledger(job.loose_ends).settle(id, "returned", m.text("by"));
}

void note(Job& job, const Entry&, Members& m) {
    std::string text = m.text("text");
    const std::string by = m.text_or("by");
    job.notes.push_back(by.empty() ? text : text + " (" + by + ")");
}

void consent(Job& job, const Entry&, Members& m) {
    const std::string what = m.text("what");
    (void)m.text("by");
    if (m.flag("withdrawn")) {
        std::erase(job.consents, what);
        if (what == one_way) job.one_way_doors.reset();
        return;
    }
    job.consents.push_back(what);
    if (what != one_way || (job.one_way_doors && job.one_way_doors->empty())) return;
    if (job.plan.empty()) job.one_way_doors.emplace();  // before any was known: to whichever come
    // To the doors that it was asked for: another one that a later plan has is asked for again.
    for (const PlannedStep& s : job.plan) {
        if (!s.one_way_door) continue;
        if (!job.one_way_doors) job.one_way_doors.emplace();
        job.one_way_doors->push_back(s.release);
    }
}

void identified(Job& job, const Entry& e, Members& m) {
    job.family = m.text("family");
    job.family_digest = m.text("family_digest");
    // What an earlier view told stands until another view tells otherwise: one that could not be read tells nothing.
    const std::string release = m.text("release"), market = m.text_or("market");
    std::map<std::string, std::string> releases;
    m.each_member("releases", [&](std::string_view role, std::string own) { releases[std::string(role)] = own; });
    if (!release.empty() || !releases.empty()) job.release_found = release, job.releases_found = std::move(releases);
    if (!release.empty() && !job.runs.empty() && !job.is_open_run()) job.as_left_release = release;
    if (!release.empty() || !market.empty()) job.market = market;
    job.view = m.text_or("view");
    job.views = m.texts("views");
    if (job.views.empty() && !job.view.empty()) job.views.push_back(job.view);  // as journals had it at first
    job.planned_set.clear();                                                    // it was of what was known before
    job.identified = m.verdict("verdict");
    job.identity_reasons = m.reasons("reasons");
    std::map<std::string, std::string> plates;
    m.each_member("plates", [&](std::string_view role, std::string plate) { plates[std::string(role)] = plate; });
    if (!plates.empty()) job.plates = std::move(plates);
    Ledger ledger(job.loose_ends);
    held_against_job(ledger, job, e.number);
}

void planned(Job& job, const Entry&, Members& m) {
    job.planned_from = m.text_or("from");
    if (job.runs.empty()) job.found_from = job.planned_from;
    job.target = m.text("to");
    job.as_found_origin = origin_of(m, "as_found_origin");
    job.as_found = installed_of(m, "as_found");
    job.plan_verdict = m.verdict("verdict");
    job.planned_set = m.object_if("set");
    job.planned_fed = m.text_or("fed");
    job.planned_cuts = static_cast<int>(std::clamp<std::int64_t>(m.whole_if("cuts").value_or(1), 1, 3));
    (void)m.reasons("reasons");
    if (m.has("offered")) job.offered_otherwise = m.texts("offered");
    job.plan.clear();
    m.each("route", [&](Members& s) {
        PlannedStep step;
        step.release = s.text("release");
        step.one_way_door = s.flag("one_way_door");
        step.bytes = static_cast<std::uint64_t>(std::max<std::int64_t>(0, s.whole_if("bytes").value_or(0)));
        step.landed = count_of(s, "landed");
        step.passed_over = count_of(s, "passed_over");
        step.refused = count_of(s, "refused");
        step.total = count_of(s, "total");
        step.p50_s = s.number_or("p50_s");
        step.p90_s = s.number_or("p90_s");
        step.no_way_back_p90_s = s.number_or("no_way_back_p90_s");
        s.each("hands_on", [&](Members& h) {
            step.hands_on.push_back({h.text("act"), h.number_or("from_s"), h.number_or("to_s")});
        });
        job.plan.push_back(std::move(step));
    });
}

// Which of several cards; entries from before there were several say nothing.
unsigned card_number(Members& m) {
    const auto n = m.whole_if("card_number").value_or(1);
    return n >= 2 && n <= 9 ? static_cast<unsigned>(n) : 1;
}

void laid(Job& job, const Entry& e, Members& m) {
    CardEntry c;
    c.release = m.text("release");
    c.target = m.text("target");
    c.digest = m.text("digest");
    c.bytes = static_cast<std::uint64_t>(std::max<std::int64_t>(0, m.whole_if("bytes").value_or(0)));
    c.right = m.text("right");
    c.at = e.at;
    c.number = card_number(m);
    if (c.number >= 2) {
        job.further_cards[c.number] = {c.release, false};
    } else {
        job.card_release = c.release;
        job.card_digest = c.digest;
        job.card_audited_good = false;
    }
    job.cards.push_back(std::move(c));
}

void audited(Job& job, const Entry& e, Members& m) {
    CardEntry c;
    c.release = m.text_or("release");
    c.target = m.text("target");
    c.digest = m.text_or("digest");
    c.verdict = m.verdict("verdict");
    (void)m.reasons("reasons");
    c.audited = true;
    c.at = e.at;
    c.number = card_number(m);
    const bool good = c.verdict <= Verdict::mind;
    if (c.number >= 2) {
        FurtherCard& card = job.further_cards[c.number];
        if (!c.release.empty()) card.release = c.release;
        card.audited_good = good;
    } else {
        if (!c.release.empty()) job.card_release = c.release;
        if (!c.digest.empty()) job.card_digest = c.digest;
        job.card_audited_good = good;
    }
    job.cards.push_back(std::move(c));
}

// What was measured of a card; it changes nothing in the job.
void gauged(Job&, const Entry&, Members& m) {
    (void)m.text("target");
    (void)m.verdict("verdict");
    (void)m.reasons("reasons");
}

// A key said again replaces what was said, also by whom: a typed figure is no longer a read one.
void answered(Job& job, const Entry& e, Members& m) {
    const std::string key = m.text("key");
    job.answers[key] = m.text("value");
    const std::string source = m.text_or("source", "typed");
    if (source != "typed" && source != "read") m.fail("source", "\"typed\" or \"read\"");
    if (source == "read")
        job.answers_read[key] = e.at;
    else
        job.answers_read.erase(key);
}

void ready(Job& job, const Entry&, Members& m) {
    job.ready_verdict = m.verdict("verdict");
    job.ready_reasons = m.reasons("reasons");
    job.ready_step = static_cast<int>(std::clamp<std::int64_t>(m.whole_if("step").value_or(0), 0, 1000));
    job.ready_checked = true;
}

void accepted(Job& job, const Entry& e, Members& m) {
    Acceptance a{m.text("code"), m.text("by"), m.text("reason"), std::nullopt, e.at};
    if (!m.text_or("verdict").empty()) a.verdict = m.verdict("verdict");
    job.accepted.push_back(std::move(a));
}

// Recordings are files beside the book; what was erased of them stays known by its digest.
void recorded(Job&, const Entry&, Members& m) {
    (void)m.text("file");
    (void)m.text("sha256");
    (void)m.whole("bytes");
}

void erased(Job&, const Entry&, Members& m) {
    (void)m.text("by");
    m.each("files", [](Members& f) {
        (void)f.text("file");
        (void)f.text_or("sha256");
        (void)f.text_or("was");
    });
}

void as_left(Job& job, const Entry& e, Members& m) {
    job.as_left_origin = origin_of(m, "origin");
    // A list typed after the release was said leaves it said; started() forgets both.
    if (std::string release = m.text_or("release"); !release.empty()) job.as_left_release = std::move(release);
    job.as_left = installed_of(m, "installed");
    if (m.has("history")) job.as_left_history = m.texts("history");
    if (job.proved.empty()) return;
    // What was proved, was proved of what was said before.
    job.proved.clear();
    job.proof.clear();
    job.proof_verdict = Verdict::cant_say;
    Ledger ledger(job.loose_ends);
    proof_outdated(ledger, job, e.number);
}

void proved(Job& job, const Entry& e, Members& m) {
    job.proof_verdict = m.verdict("verdict");
    job.proved = m.text("word");
    if (job.proved != "proved" && job.proved != "partly" && job.proved != "failed")
        m.fail("word", "\"proved\", \"partly\" or \"failed\"");
    job.proof = m.reasons("reasons");
    Ledger ledger(job.loose_ends);
    proof_recorded(ledger, job, e.number);
}

void loose_end(Job& job, const Entry& e, Members& m) {
    LooseEnd end;
    end.id = m.text("id");
    end.words = m.text("words");
    end.owner = m.text_or("owner", "workshop");
    end.consequence = m.text_or("consequence");
    end.entry = e.number;
    Ledger(job.loose_ends).open(std::move(end));
}

void settled(Job& job, const Entry&, Members& m) {
    const std::string id = m.text("id");
    const std::string how = m.text("how");
    Ledger(job.loose_ends).settle(id, how, m.text("by"));
}

void signed_for(Job& job, const Entry&, Members& m) {
    const std::string id = m.text("id");
    const std::string reason = m.text("reason");
    Ledger(job.loose_ends).sign(id, reason, m.text("by"));
}

void handover(Job& job, const Entry& e, Members& m) {
    job.handovers.push_back({m.text("file"), m.text("sheet_sha256"), m.text("key"), e.at});
}

// The correction itself was made before folding; here only its form counts.
void corrects(Job&, const Entry&, Members& m) {
    (void)m.whole("entry");
    (void)m.text("field");
    (void)m.text("why");
    (void)m.text("by");
}

struct Known {
    std::string_view type;
    Apply apply;
};
constexpr Known known[] = {
    {"called", called},       {"series", series},       {"times", times},
    {"opened", opened},       {"kept", kept},           {"returned", returned},
    {"note", note},           {"consent", consent},     {"identified", identified},
    {"planned", planned},     {"laid", laid},           {"audited", audited},
    {"answered", answered},   {"ready", ready},         {"accepted", accepted},
    {"started", started},     {"mark", mark},           {"unmark", unmark},
    {"shows", shows},         {"tally", tally},         {"ended", ended},
    {"as-left", as_left},     {"faults", faults},       {"proved", proved},
    {"loose-end", loose_end}, {"settled", settled},     {"signed", signed_for},
    {"handover", handover},   {"corrects", corrects},   {"gauged", gauged},
    {"breach", breach},       {"inventory", inventory}, {"clearing", clearing},
    {"cleared", cleared},     {"aftermath", aftermath}, {"attempt", attempt},
    {"advised", advised},     {"recorded", recorded},   {"erased", erased},
};

}  // namespace

Apply apply_for(std::string_view type) {
    for (const Known& k : known)
        if (k.type == type) return k.apply;
    return nullptr;
}

}  // namespace fettle::book
