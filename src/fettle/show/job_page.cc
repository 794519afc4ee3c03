#include "fettle/show/job_page.h"

#include <fmt/core.h>

#include "fettle/base/text.h"

namespace fettle::show {
namespace {

using book::Job;

std::string minute(UnixMs t) {
    std::string text = iso8601(t).substr(0, 16);
    text[10] = ' ';
    return text;
}

// One fact a line; nothing for an empty one.
void fact(std::string& out, std::string_view name, const std::string& value) {
    if (!value.empty()) out += fmt::format("  {:<14} {}\n", name, value);
}

std::string plates_in_words(const Job& j) {
    std::vector<std::string> parts;
    for (const auto& [role, plate] : j.plates) parts.push_back(role + " " + plate);
    return join(parts, ", ");
}

std::string faults_in_words(const book::FaultRecord& f) {
    if (f.origin == Origin::not_read) return "not read";
    const std::string unread = f.unread().empty() ? "" : "; not read: " + join(f.unread(), ", ");
    if (f.entries.empty()) return "no entries (" + std::string(code(f.origin)) + ")" + unread;
    std::vector<std::string> parts;
    for (const book::FaultSeen& e : f.entries)
        parts.push_back((e.box.empty() ? "" : e.box + " ") + e.code +
                        (e.status ? fmt::format(" status 0x{:02X}", *e.status) : ""));
    return join(parts, ", ") + " (" + std::string(code(f.origin)) + ")" + unread;
}

std::string counts_in_words(const std::map<std::string, int>& counts) {
    std::vector<std::string> parts;
    for (const auto& [name, words] : std::vector<std::pair<std::string, std::string>>{
             {"landed", "landed"}, {"passed_over", "passed over"}, {"refused", "refused"}, {"to_come", "to come"}})
        if (const auto at = counts.find(name); at != counts.end())
            parts.push_back(fmt::format("{} {}", at->second, words));
    return join(parts, ", ");
}

void asked(std::string& out, const Job& j) {
    out += "asked\n";
    fact(out, "customer", j.customer);
    fact(out, "vehicle", j.vehicle);
    fact(out, "VIN", j.vin);
    fact(out, "complaint", j.complaint);
    fact(out, "where", std::string(code(j.place)));
    fact(out, "consents", join(j.consents, ", "));
}

void found(std::string& out, const Job& j) {
    out += "found\n";
    fact(out, "plates", plates_in_words(j));
    if (j.housings) fact(out, "housings", std::to_string(*j.housings));
    if (!j.family.empty())
        fact(out, "identity", fmt::format("{} {} {} ({})", j.family, j.found_words(), j.market, words(j.identified)));
    fact(out, "as found",
         j.as_found_origin == Origin::not_read
             ? ""
             : fmt::format("{} pieces, {}", j.as_found.size(), code(j.as_found_origin)));
    fact(out, "faults before", faults_in_words(j.faults_before));
}

void done(std::string& out, const Job& j) {
    out += "done\n";
    if (!j.target.empty())
        fact(out, "plan",
             fmt::format("to {}, {} step{} ({})", j.target, j.plan.size(), j.plan.size() == 1 ? "" : "s",
                         words(j.plan_verdict)));
    for (const book::PlannedStep& s : j.plan)
        fact(out, "",
             fmt::format("{}: {} of {} pieces to land, {}, {}{}", s.release, s.landed, s.total, human_bytes(s.bytes),
                         s.p90_s > 0 ? fmt::format("half of such runs in {}, 9 in 10 in {}", human_duration(s.p50_s),
                                                   human_duration(s.p90_s))
                                     : std::string("how long is not known"),
                         s.one_way_door ? "; no way back after it" : ""));
    for (const book::CardEntry& c : j.cards)
        fact(out, c.audited ? "card audited" : "card laid",
             fmt::format("{} {}{} {}{}", minute(c.at), c.release, c.number > 1 ? fmt::format(" card {}", c.number) : "",
                         c.target, c.audited ? fmt::format(": {}", words(c.verdict)) : ""));
    if (j.ready_checked) fact(out, "ready", std::string(words(j.ready_verdict)));
    for (const Acceptance& a : j.accepted) fact(out, "accepted", fmt::format("{} by {}: {}", a.code, a.by, a.reason));
    std::size_t n = 0;
    for (const book::Run& r : j.runs) {
        const std::string end = r.outcome == RunState::open
                                    ? "still open"
                                    : std::string(code(r.outcome)) + " " + minute(r.ended.value_or(0));
        fact(out, fmt::format("run {}", ++n),
             fmt::format("to {}, begun {}, {}{}", r.release, minute(r.started), end,
                         r.against_halt ? "; begun against a halt" : ""));
        std::vector<std::string> marks;
        for (const book::RunMark& m : r.marks)
            if (!m.undone) marks.push_back(fmt::format("{} ({})", m.event, m.source));
        fact(out, "", join(marks, ", "));
        fact(out, "", counts_in_words(r.tally));
        for (const std::string& text : r.shown) fact(out, "", "it showed: \"" + text + "\"");
        if (!r.advice.empty()) fact(out, "mend", r.advice);
        for (const book::Attempt& t : r.attempts)
            fact(out, "",
                 fmt::format("tried: {}, {}{}", code(t.kind), code(t.came), t.by.empty() ? "" : " (" + t.by + ")"));
    }
}

void left(std::string& out, const Job& j) {
    out += "left\n";
    fact(out, "as left",
         j.as_left_origin == Origin::not_read
             ? "not read"
             : fmt::format("{} ({})",
                           j.as_left_release.empty() ? fmt::format("{} pieces", j.as_left.size()) : j.as_left_release,
                           code(j.as_left_origin)));
    fact(out, "proof", j.proved.empty() ? "not asked for" : j.proved);
    fact(out, "faults after", faults_in_words(j.faults_after));
    for (const book::Clearing& c : j.clearings)
        fact(out, "cleared",
             fmt::format("{} {}: {}; allowed by {}", minute(c.at), c.box,
                         !c.answered      ? "asked " + join(c.codes, ", ") + ", not known what became of it"
                         : c.done.empty() ? "nothing: " + c.why
                                          : join(c.done, ", "),
                         c.allowed_by));
    if (j.faults_cleared.entry != 0) fact(out, "then stored", faults_in_words(j.faults_cleared));
    for (const book::Handover& h : j.handovers)
        fact(out, "sheet", fmt::format("{} {}, sha256 {}", minute(h.at), h.file, h.sheet_sha256));
}

void open_ends(std::string& out, const Job& j) {
    out += "open ends\n";
    if (j.loose_ends.empty()) out += "  none\n";
    for (const book::LooseEnd& e : j.loose_ends) out += loose_end_line(e);
}

}  // namespace

std::string loose_end_line(const book::LooseEnd& e) {
    std::string state = e.settled      ? fmt::format("settled: {} ({})", e.settled_how, e.settled_by)
                        : e.signed_for ? fmt::format("open, signed for by {}: {}", e.signed_by, e.signed_reason)
                        : e.blocks     ? fmt::format("OPEN, {}: {}", e.owner, e.consequence)
                                       : fmt::format("shown only: {}", e.consequence);
    return fmt::format("  {:<14} {}{}\n  {:<14} {}\n", e.id, e.settled ? "was: " : "", e.words, "", state);
}

std::string job_page(const Job& j) {
    std::string out;
    asked(out, j);
    found(out, j);
    done(out, j);
    left(out, j);
    open_ends(out, j);
    if (!j.notes.empty()) out += "notes\n";
    for (const std::string& n : j.notes) out += "  " + n + "\n";
    if (!j.corrections.empty()) out += "put right\n";
    for (const book::Correction& c : j.corrections)
        out += fmt::format("  entry {}, {}: \"{}\" is now \"{}\" ({}: {})\n", c.entry, c.field, c.before, c.after, c.by,
                           c.why);
    return out;
}

namespace {

// A blank behind each comma between members, so that a line can be broken there.
std::string spaced(std::string_view data) {
    std::string out;
    for (std::size_t i = 0; i < data.size(); ++i) {
        out += data[i];
        if (data[i] == ',' && i + 1 < data.size() && (data[i + 1] == '"' || data[i + 1] == '{')) out += ' ';
    }
    return out;
}

// Enough of an entry to know it again; whole in the JSON document.
std::string beginning_of(std::string_view data) {
    constexpr std::size_t shown = 200;
    if (data.size() <= shown + 40) return std::string(data);
    std::size_t end = shown;
    while (end > 0 && (static_cast<unsigned char>(data[end]) & 0xC0) == 0x80) --end;
    return fmt::format("{}… ({} of {} bytes; all with --json)", data.substr(0, end), end, data.size());
}

}  // namespace

std::string journal_lines(const std::vector<book::Entry>& entries) {
    std::string out = "entries\n";
    for (const book::Entry& e : entries)
        out += fmt::format("  {:>4}  {}  {:<10}  {}…  {}\n", e.number, iso8601(e.at), e.type, e.digest.substr(0, 12),
                           beginning_of(spaced(e.data)));
    return out;
}

}  // namespace fettle::show
