#include "fettle/handover/sheet.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/handover/style.h"
#include "fettle/handover/words.h"

namespace fettle::handover {
namespace {

using book::Job;
using book::LooseEnd;

std::string things(std::size_t n) {
    return n == 0   ? "nothing is left to do"
           : n == 1 ? "1 thing is left to do"
                    : fmt::format("{} things are left to do", n);
}

std::vector<const LooseEnd*> left_to_do(const Job& job) {
    std::vector<const LooseEnd*> out;
    for (const LooseEnd& e : job.loose_ends) {
        if (!e.settled) out.push_back(&e);
    }
    return out;
}

std::string found_release(const Job& job) {
    return job.found_from.empty() ? job.found_words() : job.found_from;
}

const book::Run* last_ended(const Job& job) {
    for (auto it = job.runs.rbegin(); it != job.runs.rend(); ++it) {
        if (it->outcome == RunState::ended) return &*it;
    }
    return nullptr;
}

class Page {
public:
    explicit Page(const SheetInput& in) : in_(in), job_(in.job) {}

    std::string make() {
        out_ = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n";
        out_ += "<meta name=\"viewport\" content=\"width=device-width\">\n";
        out_ += fmt::format("<title>Handover sheet, job {}</title>\n<style>{}</style>\n</head>\n<body>\n",
                            escape_markup(job_.number), kStyle);
        head();
        asked();
        found();
        done();
        left();
        tally();
        to_do();
        given_back();
        cautions();
        exceptions();
        known();
        signatures();
        record();
        strips();
        return out_ + "</body>\n</html>\n";
    }

private:
    void open(std::string_view title) { out_ += fmt::format("<section>\n<h2>{}</h2>\n<div>\n", escape_markup(title)); }
    void close() { out_ += "</div>\n</section>\n"; }
    void p(std::string_view text) { out_ += fmt::format("<p>{}</p>\n", escape_markup(text)); }
    void minor(std::string_view text) { out_ += fmt::format("<p class=\"minor\">{}</p>\n", escape_markup(text)); }
    void list(const std::vector<std::string>& items, std::string_view kind = "") {
        out_ += kind.empty() ? "<ul>\n" : fmt::format("<ul class=\"{}\">\n", kind);
        for (const std::string& i : items) out_ += fmt::format("<li>{}</li>\n", escape_markup(i));
        out_ += "</ul>\n";
    }
    void table(const std::vector<std::string>& heads, const std::vector<std::vector<std::string>>& rows,
               std::size_t numbers_from) {
        const auto cell = [&](const char* tag, const std::string& text, std::size_t column) {
            out_ += fmt::format("<{0}{1}>{2}</{0}>", tag, column >= numbers_from ? " class=\"n\"" : "",
                                escape_markup(text));
        };
        out_ += "<table>\n<tr>";
        for (std::size_t i = 0; i < heads.size(); ++i) cell("th", heads[i], i);
        out_ += "</tr>\n";
        for (const auto& row : rows) {
            out_ += "<tr>";
            for (std::size_t i = 0; i < row.size(); ++i) cell("td", row[i], i);
            out_ += "</tr>\n";
        }
        out_ += "</table>\n";
    }

    bool agreed(std::string_view word) const {
        return std::any_of(job_.consents.begin(), job_.consents.end(),
                           [&](const std::string& c) { return c.find(word) != std::string::npos; });
    }

    void head() {
        out_ += fmt::format(
            "<header>\n<p class=\"shop\"><span>{}</span><span>Handover sheet, job {}, {}</span></p>\n<h1>{}</h1>\n"
            "</header>\n",
            escape_markup(in_.workshop), escape_markup(job_.number), time_words(in_.made),
            escape_markup(headline(job_)));
    }

    void asked() {
        open("Asked");
        p(job_.complaint.empty() ? "No complaint was recorded." : job_.complaint);
        std::vector<std::string> who = {"Customer " + job_.customer};
        if (!job_.vehicle.empty()) who.push_back(job_.vehicle);
        if (!job_.vin.empty()) who.push_back(agreed("sheet") ? "VIN " + job_.vin : "VIN kept in the workshop's book");
        who.push_back("taken in " + time_words(job_.opened));
        minor(join(who, "; ") + ".");
        if (!job_.consents.empty()) minor("Agreed by the owner: " + join(job_.consents, "; ") + ".");
        close();
    }

    void found() {
        open("Found");
        std::vector<std::vector<std::string>> rows;
        for (const auto& [role, plate] : job_.plates) rows.push_back({role, plate});
        const std::string release = found_release(job_);
        rows.push_back({"release", release.empty() ? "not known"
                                                   : release + (job_.market.empty() ? "" : ", market " + job_.market)});
        rows.push_back({"fault memory", fault_words(job_.faults_before)});
        table({"", "as found"}, rows, 9);
        close();
    }

    void done() {
        open("Done");
        std::vector<std::vector<std::string>> rows;
        for (const book::Run& r : job_.runs) {
            std::string how(r.outcome == RunState::open ? "not ended" : code(r.outcome));
            if (r.against_halt) how += ", begun against a halt";
            rows.push_back({r.release, time_words(r.started), lasted_words(r), how});
        }
        if (rows.empty())
            p("No run was made.");
        else
            table({"release installed", "begun", "lasted", "outcome"}, rows, 9);
        std::vector<std::string> mended;
        for (const book::Run& r : job_.runs)
            for (std::string& line : mend_words(r)) mended.push_back(std::move(line));
        if (!mended.empty()) list(mended);
        if (const auto who = who_worked(job_); !who.empty()) minor("Worked on it: " + join(who, ", ") + ".");
        close();
    }

    // The strips were made by this program from the same journal: they are SVG, not text of a person.
    // Where no picture of the run can be drawn, what was marked, with its time since the start.
    void marks() {
        for (std::size_t i = 0; i < job_.runs.size(); ++i) {
            const book::Run& r = job_.runs[i];
            std::vector<std::string> seen;
            for (const book::RunMark& m : r.marks) {
                if (m.undone) continue;
                const std::int64_t s = std::max<std::int64_t>(0, m.at - r.started) / 1000;
                seen.push_back(fmt::format("{}:{:02} {}", s / 60, s % 60, m.event));
            }
            if (seen.empty()) continue;
            open(fmt::format("Run {}, as marked", i + 1));
            p(join(seen, "; ") + " (minutes after the start).");
            close();
        }
    }

    void strips() {
        if (in_.strips.empty()) return marks();
        for (std::size_t i = 0; i < in_.strips.size(); ++i) {
            out_ += fmt::format("<section class=\"strip\">\n<h2>Run {} along time</h2>\n{}</section>\n", i + 1,
                                in_.strips[i]);
        }
    }

    void left() {
        open("Left");
        std::vector<std::vector<std::string>> rows;
        rows.push_back({"release", job_.as_left_release.empty() ? "not told" : job_.as_left_release});
        rows.push_back({"piece by piece", job_.proved.empty()       ? "not compared"
                                          : job_.proved == "proved" ? "proved: as planned"
                                          : job_.proved == "partly" ? "partly proved"
                                                                    : "not as planned"});
        rows.push_back({"fault memory", fault_words(job_.faults_after)});
        for (const book::Clearing& c : job_.clearings) rows.push_back({"cleared in it", cleared_words(c)});
        if (job_.faults_cleared.entry != 0) rows.push_back({"fault memory then", fault_words(job_.faults_cleared)});
        table({"", "as left"}, rows, 9);
        std::vector<std::string> open_points;
        for (const Reason& r : job_.proof) {
            if (r.verdict != Verdict::fit) open_points.push_back(std::string(words(r.verdict)) + ": " + r.text);
        }
        if (!open_points.empty()) list(open_points);
        close();
    }

    void tally() {
        std::vector<std::vector<std::string>> rows;
        const auto seen = [](const book::Run& r, const char* name) {
            const auto it = r.tally.find(name);
            return it == r.tally.end() ? std::string("not read") : std::to_string(it->second);
        };
        for (const book::PlannedStep& s : job_.plan) {
            rows.push_back({s.release + ", planned", std::to_string(s.landed), std::to_string(s.passed_over),
                            std::to_string(s.refused)});
            for (const book::Run& r : job_.runs) {
                if (r.release != s.release) continue;
                rows.push_back({s.release + ", counted by the unit", seen(r, "landed"), seen(r, "passed_over"),
                                seen(r, "refused")});
            }
        }
        if (rows.empty()) return;
        open("Tally of pieces");
        table({"", "landed", "passed over", "refused"}, rows, 1);
        if (job_.as_found_origin == Origin::inferred)
            minor("Planned counts are inferred from the release that the unit showed.");
        close();
    }

    void to_do() {
        const auto ends = left_to_do(job_);
        open("Left to do");
        if (ends.empty()) {
            p("Nothing.");
        } else {
            std::vector<std::string> items;
            for (const LooseEnd* e : ends) {
                std::string s = e->words;
                if (!e->owner.empty()) s += ", by " + e->owner;
                if (!e->consequence.empty()) s += " (" + e->consequence + ")";
                items.push_back(s + ".");
            }
            list(items, "open");
        }
        close();
    }

    void given_back() {
        if (job_.keepings.empty()) return;
        open("The owner's items");
        std::vector<std::string> items;
        for (const Keeping& k : job_.keepings)
            items.push_back(k.words + (k.tag.empty() ? "" : " (tag " + k.tag + ")") +
                            (k.returned ? ": given back" : ": not given back"));
        list(items);
        close();
    }

    void signatures() {
        open("Signatures");
        for (const char* who : {"Workshop: name, date, signature", "Owner: received with the items named above"})
            out_ += fmt::format("<p class=\"sign\">{}</p>\n", who);
        close();
    }

    void cautions() {
        if (in_.cautions.empty()) return;
        open("Cautions");
        list(in_.cautions);
        close();
    }

    void exceptions() {
        std::vector<std::string> items;
        for (const book::Run& r : job_.runs) {
            if (r.against_halt)
                items.push_back(fmt::format("The run to {} was begun against a halt{}.", r.release,
                                            r.by.empty() ? "" : " by " + r.by));
        }
        for (const Acceptance& a : job_.accepted)
            items.push_back(fmt::format("Before the start, \"{}\" was accepted by {}: {}", a.code, a.by, a.reason));
        for (const LooseEnd& e : job_.loose_ends) {
            if (!e.settled && e.signed_for)
                items.push_back(fmt::format("Left open and signed for by {}: {}. Reason: {}", e.signed_by, e.words,
                                            e.signed_reason));
        }
        for (const book::Correction& c : job_.corrections)
            items.push_back(
                fmt::format("Corrected by {}: {} was \"{}\", is \"{}\": {}", c.by, c.field, c.before, c.after, c.why));
        if (items.empty()) return;
        open("Exceptions");
        list(items);
        close();
    }

    void known() {
        open("How it was known");
        const bool tally_known =
            std::any_of(job_.runs.begin(), job_.runs.end(), [](auto& r) { return !r.tally.empty(); });
        const auto of = [](const book::FaultRecord& f) { return known_words(f.origin); };
        table({"", ""},
              {{"plates and release found",
                job_.plates.empty() && job_.found_words().empty() ? "not told" : "typed or read off"},
               {"installed before", known_words(job_.as_found_origin)},
               {"the run", marks_words()},
               {"tally", tally_known ? "typed or read" : "not read"},
               {"installed after", known_words(job_.as_left_origin)},
               {"faults before", of(job_.faults_before)},
               {"faults after", of(job_.faults_after)}},
              9);
        minor(in_.level.empty() ? "What these boxes do in a run was not known."
                                : "What was known of these boxes: level " + in_.level + ".");
        if (!in_.boot_order_known)
            p("What these boxes do when power returns half-way was not known. Every write was treated as one without a "
              "way back; the sheet cannot say what a power cut in the run would have led to.");
        close();
    }

    std::string marks_words() const {
        std::vector<std::string> sources;
        for (const book::Run& r : job_.runs) {
            for (const book::RunMark& m : r.marks) {
                if (!m.undone && std::find(sources.begin(), sources.end(), m.source) == sources.end())
                    sources.push_back(m.source);
            }
        }
        return sources.empty() ? "start and end only" : "marked by: " + join(sources, ", ");
    }

    void record() {
        open("Record");
        out_ += fmt::format(
            "<p class=\"minor\">Made from the {} entries of this job's journal; the last has the digest</p>\n"
            "<p class=\"hex\">sha256 {}</p>\n",
            in_.journal_entries, escape_markup(in_.journal_digest));
        if (!job_.family.empty())
            out_ += fmt::format("<p class=\"hex\">family file {} sha256 {}</p>\n", escape_markup(job_.family),
                                escape_markup(job_.family_digest));
        close();
    }

    const SheetInput& in_;
    const Job& job_;
    std::string out_;
};

}  // namespace

Status may_hand_over(const Job& job) {
    const auto open = job.open_ends();
    if (open.empty()) return {};
    std::vector<std::string> names;
    for (const LooseEnd& e : open) names.push_back(fmt::format("{} ({})", e.id, e.words));
    return bad_input(
        "loose-ends-open", "job " + job.number,
        fmt::format("{} loose {} open: {}", open.size(), open.size() == 1 ? "end is" : "ends are", join(names, "; ")),
        Next{"settle each, or have it signed for by name: ", propose(Act::open_points, {fettle::job(job.number)})});
}

std::string headline(const Job& job) {
    const auto left = left_to_do(job).size();
    const book::Run* run = last_ended(job);
    std::string done;
    if (!run) {
        done = job.runs.empty() ? "Nothing was installed" : "The update was not finished";
    } else {
        const std::string from = found_release(job);
        done = fmt::format("Updated {}to {}", from.empty() ? "" : "from " + from + " ", run->release);
        if (job.proved == "proved")
            done += "; everything landed";
        else if (job.proved == "failed")
            done += "; not everything landed";
        else
            done += "; that everything landed is not proved";
    }
    return done + "; " + things(left) + ".";
}

Result<std::string> sheet_html(const SheetInput& input) {
    if (auto ok = may_hand_over(input.job); !ok) return pass(ok);
    return Page(input).make();
}

}  // namespace fettle::handover
