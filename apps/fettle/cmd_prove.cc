#include "cmd_prove.h"

#include <fmt/core.h>

#include <algorithm>
#include <charconv>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/prove/faults.h"
#include "fettle/prove/prove.h"
#include "fettle/shelf/shelf.h"
#include "fettle/show/faults.h"
#include "fettle/show/print.h"
#include "fettle/watch/tracker.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/job_faults.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

boost::json::array installed_as_json(const change::InstalledList& list) {
    boost::json::array out;
    for (const change::Installed& p : list.pieces)
        out.push_back({{"box", p.box}, {"name", p.name}, {"version", p.version}});
    return out;
}

// The list a release's index would leave, for the boxes of the job.
Result<change::InstalledList> inferred_from(const Context& context, const JobRun& run, const std::string& release) {
    auto shelf = shelf::Shelf::open(context.shelf_folder());
    if (!shelf) return pass(shelf);
    auto shelved = shelf->find(run.family.id, release);
    if (!shelved) return pass(shelved);
    const change::SetState& set = run.plan.set;
    if (set.empty())
        return bad_input("job-not-planned", "job " + run.number, "its boxes and target are not settled",
                         "run: fettle plan --job " + run.number);
    return change::infer(shelved->release, set);
}

std::string origin_code(change::Origin o) {
    switch (o) {
        case change::Origin::typed: return "typed";
        case change::Origin::read: return "read";
        case change::Origin::inferred: return "inferred";
    }
    return "inferred";
}

const book::Run* last_run(const JobRun& run) {
    return run.job.runs.empty() ? nullptr : &run.job.runs.back();
}

std::string tried_key(const JobRun& run, const std::string& words) {
    return fmt::format("tried.{}.{}", run.job.runs.size(), words);
}

prove::Evidence evidence_of(const JobRun& run, const book::Run& last, UnixMs now) {
    prove::Evidence e;
    if (run.job.as_left_origin != "not read" && !run.job.as_left.empty()) {
        e.as_left.emplace();
        e.as_left->origin = run.job.as_left_origin == "read"    ? change::Origin::read
                            : run.job.as_left_origin == "typed" ? change::Origin::typed
                                                                : change::Origin::inferred;
        e.as_left->inferred_from = run.job.as_left_release;
        for (const book::Installed& p : run.job.as_left) e.as_left->pieces.push_back({p.box, p.name, p.version, ""});
    }
    if (!run.job.as_left_release.empty()) e.release_shown = run.job.as_left_release;
    if (!last.tally.empty()) {
        prove::Counted t;
        const auto count = [&](const char* name) {
            const auto it = last.tally.find(name);
            return it == last.tally.end() ? std::nullopt : std::optional(it->second);
        };
        t = {count("landed"), count("passed_over"), count("refused"), count("to_come")};
        e.tally = t;
    }
    e.run_ended = last.outcome == "ended";
    if (last.ended) e.settled_s = std::max(0.0, static_cast<double>(now - *last.ended) / 1000);
    for (const std::string& text : last.shown) {
        if (watch::meaning_of(run.family, text).refused_piece) e.refused_texts.push_back(text);
    }
    for (const family::Trial& t : run.family.trials) {
        const auto it = run.job.answers.find(tried_key(run, t.words));
        if (it == run.job.answers.end()) continue;
        (it->second == "good" ? e.tried : e.tried_bad).push_back(t.words);
    }
    e.complaint = run.job.complaint;
    for (const auto& [role, said] : run.job.said_after) {
        if (!said.release.empty()) e.releases[role] = said.release;
        if (said.history) e.history_after[role] = *said.history;
    }
    for (const auto& [role, said] : run.job.said_before)
        if (said.history) e.history_before[role] = *said.history;
    if (run.job.as_left_history) e.history_after[""] = *run.job.as_left_history;
    // The planned path so far: the steps of the plan up to the last run's, for each box that they have pieces for.
    for (const PlanStep& s : run.plan.steps) {
        e.path[""].push_back(s.release.release);
        for (const family::Box& b : run.family.boxes)
            if (std::any_of(s.release.pieces.begin(), s.release.pieces.end(),
                            [&](const family::Piece& p) { return p.box == b.role; }))
                e.path[b.role].push_back(s.release.release);
        if (s.release.release == last.release) break;
    }
    return e;
}

// "1,3" or "2" → the family's functions by number.
Result<std::vector<std::string>> functions_by_number(const family::Family& family,
                                                     const std::vector<std::string>& given) {
    std::vector<std::string> out;
    for (const std::string& list : given) {
        for (const std::string& text : split(list, ',')) {
            std::size_t n = 0;
            const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), n);
            if (error != std::errc() || end != text.data() + text.size() || n < 1 || n > family.trials.size())
                return usage_error("function-unknown", printable(text), "no function of this family has this number",
                                   fmt::format("give a number from 1 to {}", family.trials.size()));
            out.push_back(family.trials[n - 1].words);
        }
    }
    return out;
}

std::string pieces_as_text(const prove::Answer& proof, bool full) {
    std::string out;
    int shown = 0, more = 0;
    for (const prove::PieceProof& p : proof.pieces) {
        const bool plain = p.state == prove::PieceState::as_expected || p.state == prove::PieceState::inferred ||
                           p.state == prove::PieceState::not_read;
        if (plain && !full) continue;
        if (!full && shown == 5) {
            ++more;
            continue;
        }
        ++shown;
        out += fmt::format("  {:<22} {} {}: {}{}\n", prove::words(p.state), p.box, p.name,
                           p.expected.empty() ? "none" : p.expected + " expected",
                           p.found.empty() ? "" : ", " + printable(p.found) + " found");
    }
    if (more > 0) out += fmt::format("  and {} more: --full\n", more);
    return out;
}

// How what is missing can be given; only that.
std::string given_by(const JobRun& run, const prove::Answer& proof) {
    std::vector<std::string> ways;
    const auto wants = [&](std::string_view word) {
        return std::any_of(proof.missing.begin(), proof.missing.end(),
                           [&](const std::string& m) { return m.find(word) != std::string::npos; });
    };
    const std::string& j = run.number;
    if (wants("as-left list") || wants("release that the box shows"))
        ways.push_back(fmt::format("fettle as-left {} --release R --typed FILE", j));
    if (wants("tally")) ways.push_back(fmt::format("fettle mark {} --tally COUNTS", j));
    if (wants("end of the run")) ways.push_back(fmt::format("fettle mark {} ended", j));
    if (wants("functions to try")) ways.push_back(fmt::format("fettle prove {} --tried N", j));
    return ways.empty() ? "" : "  given by: " + join(ways, "; ") + "\n";
}

}  // namespace

Result<Answer> as_left(Context& context, const AsLeftOptions& options) {
    if (options.typed.empty() && options.release.empty())
        return usage_error("as-left-missing", "as-left", "nothing was said", "give --typed FILE, --release R, or both");
    auto run = load_job_run(context, options.job);
    if (!run) return pass(run);
    change::InstalledList list;
    if (!options.typed.empty()) {
        auto text = read_text_file(options.typed, 4u << 20);
        if (!text) return pass(text);
        auto parsed = change::parse_installed(*text, options.typed);
        if (!parsed) return pass(parsed);
        list = std::move(*parsed);
        list.origin = change::Origin::typed;
    } else if (!run->job.as_left.empty() && (run->job.as_left_origin == "typed" || run->job.as_left_origin == "read")) {
        // A list that somebody saw is worth more than what the release's index would leave.
        list.origin = run->job.as_left_origin == "read" ? change::Origin::read : change::Origin::typed;
        for (const book::Installed& p : run->job.as_left) list.pieces.push_back({p.box, p.name, p.version, ""});
    } else {
        auto inferred = inferred_from(context, *run, options.release);
        if (!inferred) return pass(inferred);
        list = std::move(*inferred);
    }
    Answer a;
    a.job = run->number;
    a.headline = fmt::format("As left: {}{} ({}).", options.release.empty() ? "" : printable(options.release) + ", ",
                             list.pieces.size() == 1 ? "1 piece" : fmt::format("{} pieces", list.pieces.size()),
                             change::words(list.origin));
    if (list.origin == change::Origin::inferred)
        a.judgement.add({"as-left-inferred", Verdict::mind,
                         "inferred from the release that the box shows; single pieces may still stand as they were",
                         "as-left", "inferred"});
    boost::json::object entry{{"origin", origin_code(list.origin)}, {"installed", installed_as_json(list)}};
    if (!options.release.empty()) entry["release"] = options.release;
    if (!options.history.empty()) {
        boost::json::array releases;
        for (const std::string& r : split(options.history, ','))
            if (!trim(r).empty()) releases.push_back(boost::json::string(trim(r)));
        entry["history"] = std::move(releases);
    }
    a.data = entry;
    a.entries.push_back({"as-left", entry});
    return a;
}

Result<Answer> faults(Context& context, const FaultsOptions& options) {
    if (!options.when.empty() && options.when != "before" && options.when != "after")
        return usage_error("faults-when", "--when", "before or after was expected",
                           "say --when before or --when after");
    if (options.none_read == !options.typed.empty())
        return usage_error("faults-not-said", "--typed", "one of --typed and --none-read was expected",
                           "type the entries, or the word none when the memory was read and is empty; --none-read when "
                           "it was not read");
    auto run = load_job_run(context, options.job);
    if (!run) return pass(run);
    if (options.when == "before" && !run->job.runs.empty())
        return usage_error("when-past", "--when", "a run was begun, so what is typed now is no reading from before it",
                           "leave --when away; `job note` keeps what somebody remembers");
    if (options.when == "after" && run->job.runs.empty())
        return usage_error("when-early", "--when", "no run was begun, so what is typed now is from before it",
                           "leave --when away");
    const std::string when = options.when == "before" ? "before" : when_now(run->job);
    Answer a;
    a.job = run->number;
    boost::json::object entry{{"when", when},
                              {"place", options.in.empty() ? (run->on_bench() ? "bench" : "vehicle") : options.in},
                              {"origin", options.none_read ? "not read" : "typed"}};
    std::size_t count = 0;
    if (!options.none_read) {
        auto list = prove::parse_faults(options.typed);
        if (!list) return pass(list);
        for (const prove::Fault& f : *list)
            if (!f.box.empty() && !run->family.box(f.box))
                return bad_input("box-unknown", printable(f.box), "family " + run->family.id + " has no such box",
                                 "name one of the family file's boxes, or leave it out");
        boost::json::array entries;
        for (const prove::Fault& f : *list) {
            boost::json::object o{{"box", f.box}, {"code", f.code}};
            if (f.status) o["status"] = *f.status;
            entries.push_back(o);
        }
        count = entries.size();
        entry["entries"] = entries;
    }
    // Appended first: what follows from it is said of the job as it then is.
    if (auto kept = append_entries(context, run->number, {{"faults", entry}}, run->job.last_number); !kept)
        return pass(kept);
    if (when != "before") {
        auto job = load_job(context, run->number);
        if (!job) return pass(job);
        run->job = std::move(*job);
        const prove::Faults f = faults_of(context, *run);
        a.headline = f.sentence;
        for (const prove::Attributed& x : f.entries)
            a.text += fmt::format("  {}: {}; next: {}\n", prove::words(x.kind), x.why, x.next);
        a.judgement = f.judgement;
        a.data["faults"] = faults_as_json(f);
        a.entries = ends_that_follow(*run, f);
    } else {
        a.headline = options.none_read
                         ? "The fault memory was not read before the run; that is not the same as none."
                         : fmt::format("{} kept as found before the run (typed).",
                                       count == 1 ? "1 fault entry" : fmt::format("{} fault entries", count));
        if (options.none_read)
            a.judgement.add({"faults-not-read", Verdict::cant_say, "the fault memory was not read before the run",
                             "faults", "not read"});
    }
    a.data["when"] = when;
    a.data["origin"] = json_word(entry.at("origin").as_string());
    if (entry.contains("entries")) a.data["entries"] = entry.at("entries");
    return a;
}

Result<Answer> prove_job(Context& context, const ProveOptions& options) {
    auto run = load_job_run(context, options.job);
    if (!run) return pass(run);
    const book::Run* last = last_run(*run);
    if (!last)
        return bad_input("no-run", "job " + run->number, "no run was begun, so there is nothing to prove",
                         "begin one: fettle watch " + run->number + " --start --by NAME");
    const PlanStep* step = run->step_of(*last);
    if (!step)
        return bad_input("step-not-planned", "job " + run->number,
                         "the plan no longer has a step to " + printable(last->release) +
                             ", so what it should have left is not known",
                         "shelve that release again (its index will do), or plan again");
    Answer a;
    a.job = run->number;
    a.level = run->level();
    for (const auto& [list, value] : {std::pair{&options.tried, "good"}, {&options.tried_bad, "bad"}}) {
        auto functions = functions_by_number(run->family, *list);
        if (!functions) return pass(functions);
        for (const std::string& w : *functions) {
            a.entries.push_back({"answered", {{"key", tried_key(*run, w)}, {"value", value}}});
            run->job.answers[tried_key(*run, w)] = value;
        }
    }
    const change::InstalledList expected = change::after(step->sheet, step->release, step->installed);
    const prove::Evidence evidence = evidence_of(*run, *last, context.clock->now());
    prove::Answer proof = prove::prove(run->family, step->sheet, expected, step->after, evidence);
    if (const auto against = reasons_against(run->job); !against.empty()) {
        if (proof.proof != prove::Proof::failed) proof.sentence = fmt::format("Failed: {}.", against.front().text);
        proof.proof = prove::Proof::failed;
        for (const Reason& r : against) proof.judgement.add(r);
    }
    const prove::Faults f = faults_of(context, *run);
    a.headline = proof.sentence;
    // The pieces may be proved while the answer as a whole is not: then the first line says why.
    if (proof.proof == prove::Proof::proved && f.judgement.verdict() > Verdict::mind) a.headline += " " + f.sentence;
    a.text = pieces_as_text(proof, options.full);
    for (const std::string& m : proof.missing) a.text += "  wanted for proof: " + m + "\n";
    boost::json::array to_try;
    for (std::size_t i = 0; i < run->family.trials.size(); ++i) {
        const std::string& w = run->family.trials[i].words;
        if (std::find(proof.to_try.begin(), proof.to_try.end(), w) == proof.to_try.end()) continue;
        a.text += fmt::format("  to try, {}: {}\n", i + 1, w);
        to_try.push_back({{"number", i + 1}, {"words", w}});
    }
    a.text += given_by(*run, proof);
    a.text += faults_as_text(f);
    for (const Reason& r : proof.judgement.reasons) {
        if (r.verdict != Verdict::fit) a.judgement.add(r);
    }
    if (!proof.missing.empty() && a.judgement.verdict() < Verdict::cant_say)
        a.judgement.add(
            {"proof-incomplete", Verdict::cant_say, "not everything that proof needs is known", "proof", "not read"});
    boost::json::array pieces, missing;
    for (const prove::PieceProof& p : proof.pieces)
        pieces.push_back({{"box", p.box},
                          {"name", p.name},
                          {"expected", p.expected},
                          {"found", p.found},
                          {"state", json_word(prove::words(p.state))}});
    for (const std::string& m : proof.missing) missing.push_back(boost::json::string(m));
    a.data["proof"] = prove::words(proof.proof);
    a.data["release"] = last->release;
    a.data["pieces"] = pieces;
    a.data["missing"] = missing;
    a.data["to_try"] = to_try;
    a.data["faults"] = faults_as_json(f);
    for (NewEntry& e : ends_that_follow(*run, f)) a.entries.push_back(std::move(e));
    a.entries.push_back({"proved",
                         {{"verdict", code(a.judgement.verdict())},
                          {"word", prove::words(proof.proof)},
                          {"reasons", reasons_as_json(proof.judgement.reasons)}}});
    // Faults are the memory's own matter: they do not make the proof of the pieces worse, but the answer says them.
    a.judgement.add(f.judgement);
    return a;
}

}  // namespace fettle::app
