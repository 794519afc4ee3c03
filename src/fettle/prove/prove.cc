#include "fettle/prove/prove.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/prove/parts.h"

namespace fettle::prove {
namespace {

bool contains_word(const std::string& text, const std::string& part) {
    return lower(text).find(lower(part)) != std::string::npos;
}

class Prover {
public:
    Prover(const family::Family& family, const change::ChangeSheet& sheet, const change::InstalledList& expected,
           const change::SetState& set_after, const Evidence& e)
        : family_(family), sheet_(sheet), expected_(expected), set_after_(set_after), e_(e) {}

    Answer run() {
        some_lines_ = listed_in_part();
        for (const Installed& want : expected_.pieces) piece(want);
        strangers();
        count();
        shown_release();
        take(judge_pairs(family_, set_after_, e_, a_.pieces));
        tally();
        ended();
        settled();
        take(judge_history(family_, e_));
        refused();
        functions();
        conclude();
        return std::move(a_);
    }

private:
    void say(std::string code, Verdict v, std::string text, std::string where, std::string rests) {
        a_.judgement.add({std::move(code), v, std::move(text), std::move(where), std::move(rests)});
    }
    void miss(std::string what, std::optional<Give> give = std::nullopt) {  // once, whoever misses it
        if (give) a_.to_give.insert(*give);
        if (std::find(a_.missing.begin(), a_.missing.end(), what) == a_.missing.end())
            a_.missing.push_back(std::move(what));
    }

    const change::Line* line(std::string_view box, std::string_view name) const {
        for (const change::Line& l : sheet_.lines) {
            if (l.box == box && l.name == name) return &l;
        }
        return nullptr;
    }

    // Somebody who types less than half of what must be there has typed some lines of the box's list: of the others
    // nothing is known. (A guess: nobody takes a list of which more than half is missing for a whole one.)
    bool listed_in_part() const {
        if (!e_.as_left || e_.as_left->origin != Origin::typed) return false;
        const auto listed = std::count_if(expected_.pieces.begin(), expected_.pieces.end(), [&](const Installed& p) {
            return e_.as_left->find(p.box, p.name) != nullptr;
        });
        return 2 * static_cast<std::size_t>(listed) < expected_.pieces.size();
    }

    void piece(const Installed& want) {
        PieceProof p;
        p.box = want.box;
        p.name = want.name;
        p.expected = want.version;
        if (const change::Line* l = line(want.box, want.name)) p.action = l->action;
        const Installed* found = e_.as_left ? e_.as_left->find(want.box, want.name) : nullptr;
        if (!e_.as_left) {
            p.state = PieceState::not_read;
        } else if (!found) {
            p.state = some_lines_ ? PieceState::not_read : PieceState::missing;
        } else {
            p.found = found->version;
            const bool same = found->version == want.version &&
                              (found->sha256.empty() || want.sha256.empty() || found->sha256 == want.sha256);
            p.state = !same                                    ? PieceState::other_version
                      : e_.as_left->origin == Origin::inferred ? PieceState::inferred
                                                               : PieceState::as_expected;
        }
        a_.pieces.push_back(std::move(p));
    }

    void strangers() {
        if (!e_.as_left) return;
        for (const Installed& found : e_.as_left->pieces) {
            if (expected_.find(found.box, found.name)) continue;
            PieceProof p;
            p.box = found.box;
            p.name = found.name;
            p.found = found.version;
            p.state = PieceState::not_expected;
            p.action = change::Action::keep;
            a_.pieces.push_back(std::move(p));
        }
    }

    static std::string difference(const PieceProof& p) {
        const std::string where = p.box + " " + p.name;
        return p.state == PieceState::missing ? fmt::format("{}: {} expected, not there", where, p.expected)
               : p.state == PieceState::not_expected
                   ? fmt::format("{}: {} is there and was not expected", where, p.found)
               : p.found == p.expected ? fmt::format("{}: {} with another digest", where, p.found)
                                       : fmt::format("{}: {} expected, {} found", where, p.expected, p.found);
    }

    void differences() {
        for (const PieceProof& p : a_.pieces) {
            const bool wrong = p.state == PieceState::other_version || p.state == PieceState::missing;
            if (!wrong && p.state != PieceState::not_expected) continue;
            ++a_.differ;
            wrong_ += wrong;
            say("piece-differs", wrong ? Verdict::halt : Verdict::mind, difference(p), p.box + " " + p.name,
                std::string(words(e_.as_left->origin)));
        }
    }

    void count() {
        for (const PieceProof& p : a_.pieces) {
            a_.as_expected += p.state == PieceState::as_expected;
            a_.inferred += p.state == PieceState::inferred;
            a_.not_read += p.state == PieceState::not_read;
        }
        differences();
        if (a_.not_read > 0) {
            say("as-left-not-read", Verdict::cant_say,
                some_lines_
                    ? fmt::format("only some lines of the as-left list were typed; of {} of {} pieces nothing is "
                                  "known",
                                  a_.not_read, expected_.pieces.size())
                    : std::string("the as-left list was not read, piece by piece"),
                "as-left", some_lines_ ? "typed" : "not read");
            miss("the as-left list, read over the link or typed from the box's own list", Give::as_left);
        }
        if (a_.inferred > 0) {
            const bool mixed_possible = e_.as_left->origin == Origin::inferred;
            say("as-left-inferred", Verdict::mind,
                fmt::format(
                    "{} {} inferred from the release that the box shows{}; between {} and {} of them may still "
                    "stand as they were",
                    a_.inferred, a_.inferred == 1 ? "piece is" : "pieces are",
                    mixed_possible && !e_.as_left->inferred_from.empty() ? " (" + e_.as_left->inferred_from + ")" : "",
                    0, written()),
                "as-left", "inferred");
            miss("the as-left list itself: the release shown cannot exclude that single pieces did not land",
                 Give::as_left);
        }
        if (expected_.origin == Origin::inferred)
            say("expected-inferred", Verdict::mind,
                "what was installed before is inferred, so what should be kept is inferred too", "as-found",
                "inferred");
        if (a_.as_expected > 0 && a_.differ == 0)
            say("pieces-as-expected", Verdict::fit,
                fmt::format("{} of {} pieces are as planned", a_.as_expected, expected_.pieces.size()), "as-left",
                std::string(words(e_.as_left->origin)));
    }

    int written() const {
        return static_cast<int>(std::count_if(sheet_.lines.begin(), sheet_.lines.end(), [](const change::Line& l) {
            return l.action == change::Action::add || l.action == change::Action::replace;
        }));
    }

    // What the boxes say over the link counts before what was typed of the set.
    void shown_release() {
        std::map<std::string, std::string> said = e_.releases;
        if (said.empty() && e_.release_shown) said[""] = *e_.release_shown;
        if (said.empty()) {
            miss("the release that the box shows", Give::as_left);
            return;
        }
        bool good = true;
        const std::string rests = e_.releases.empty() ? "typed" : "read over the link";
        for (const auto& [role, release] : said) {
            const auto planned = set_after_.find(role);
            const std::string& want =
                planned == set_after_.end() || planned->second.release.empty() ? sheet_.to : planned->second.release;
            if (release == want) continue;
            good = false;
            failed_ = true;
            say("release-differs", Verdict::halt,
                fmt::format("the {} shows {}, {} was to be installed", role.empty() ? "box" : role, printable(release),
                            want),
                "release", rests);
        }
        if (good) say("release-as-planned", Verdict::fit, "the box shows " + sheet_.to, "release", rests);
    }

    void take(const std::vector<Finding>& findings) {
        for (const Finding& f : findings) {
            a_.judgement.add(f.reason);
            failed_ = failed_ || f.failed;
            if (!f.missing.empty()) miss(f.missing);
        }
    }

    void one_count(const char* name, std::optional<int> seen, const change::Range& want) {
        if (!seen) return;
        if (*seen >= want.low && *seen <= want.high) return;
        tally_good_ = false;
        failed_ = failed_ || std::string_view(name) != "passed over";
        say("tally-differs", Verdict::halt,
            want.low == want.high
                ? fmt::format("{}: the box shows {}, {} expected", name, *seen, want.expected)
                : fmt::format("{}: the box shows {}, {} to {} expected", name, *seen, want.low, want.high),
            name, "typed");
    }

    void tally() {
        if (!e_.tally) {
            if (family_.tally) miss("the tally that the box shows at the end", Give::tally);
            return;
        }
        const Counted& t = *e_.tally;
        one_count("landed", t.landed, sheet_.tally.landed);
        one_count("passed over", t.passed_over, sheet_.tally.passed_over);
        one_count("refused", t.refused, sheet_.tally.refused);
        one_count("to come", t.to_come, {0, 0, 0});
        if (t.landed && t.passed_over && t.refused) {
            const int sum = *t.landed + *t.passed_over + *t.refused + t.to_come.value_or(0);
            if (sum != sheet_.tally.total) {
                tally_good_ = false;
                say("tally-does-not-add-up", Verdict::cant_say,
                    fmt::format("the classes add up to {}, the step offers {}", sum, sheet_.tally.total), "tally",
                    "typed");
            }
        } else {
            miss("every class of the tally", Give::tally);
        }
        if (tally_good_)
            say("tally-adds-up", Verdict::fit, "the box's tally is as planned", "tally", "typed");
        else
            miss("a tally that is as planned", Give::tally);
    }

    void ended() {
        if (e_.run_ended.value_or(false)) return;
        if (e_.run_ended) {
            miss("an end that can be: the run is marked as ended, and that is in doubt", Give::end_in_doubt);
            say("end-in-doubt", Verdict::cant_say, "the run is marked as ended, and that is in doubt", "run", "marks");
            return;
        }
        miss("the end of the run: the box did not say that it is done, or nobody marked it", Give::end_of_run);
        say("end-not-seen", Verdict::cant_say, "that the run ended was not marked", "run", "not said");
    }

    void settled() {
        if (family_.settle_s <= 0) return;
        if (e_.settled_s && *e_.settled_s >= family_.settle_s) return;
        miss(fmt::format("the settling time of {}", human_duration(family_.settle_s)));
        say("not-settled", Verdict::mind, "the settling time has not passed", "run", "family file");
    }

    void refused() {
        for (const std::string& t : e_.refused_texts) {
            failed_ = true;
            say("piece-refused", Verdict::halt, "the box showed \"" + printable(t) + "\" during the run", "run",
                "typed");
        }
    }

    void functions() {
        for (const family::Trial& t : family_.trials) {
            if (!t.when_complaint_has.empty() && !contains_word(e_.complaint, t.when_complaint_has)) continue;
            if (!t.when_piece_moved.empty() &&
                std::none_of(sheet_.lines.begin(), sheet_.lines.end(),
                             [&](const change::Line& l) { return l.name == t.when_piece_moved && l.bytes > 0; }))
                continue;
            const auto in = [&](const std::vector<std::string>& list) {
                return std::find(list.begin(), list.end(), t.words) != list.end();
            };
            if (in(e_.tried_bad)) {
                failed_ = true;
                say("function-bad", Verdict::halt, "tried and not good: " + t.words, "functions", "tried");
            } else if (!in(e_.tried)) {
                a_.to_try.push_back(t.words);
            }
        }
        if (!a_.to_try.empty()) miss("functions to try: " + join(a_.to_try, "; "), Give::trial);
    }

    void conclude() {
        a_.proof = failed_ || wrong_ > 0 ? Proof::failed : a_.missing.empty() ? Proof::proved : Proof::partly;
        const std::string origin = e_.as_left ? std::string(words(e_.as_left->origin)) : "not read";
        switch (a_.proof) {
            case Proof::proved:
                a_.sentence =
                    fmt::format("Proved: all {} pieces are as planned ({}).", expected_.pieces.size(), origin);
                break;
            case Proof::partly:
                a_.sentence = fmt::format("{}: {} of {} pieces {} as planned{}; wanted for proof: {}.",
                                          a_.as_expected + a_.inferred == 0 ? "Nothing is proved yet" : "Partly proved",
                                          a_.as_expected + a_.inferred, expected_.pieces.size(),
                                          a_.inferred ? "inferred" : "seen",
                                          e_.as_left ? "" : " (as-left list not read)", a_.missing.front());
                break;
            case Proof::failed: {
                std::string first;
                for (const Reason& r : a_.judgement.reasons) {
                    if (r.verdict == Verdict::halt && first.empty()) first = r.text;
                }
                a_.sentence =
                    fmt::format("Failed: {}{}.", first,
                                wrong_ > 1 ? fmt::format("; {} pieces in all are not as planned", wrong_) : "");
                break;
            }
        }
    }

    const family::Family& family_;
    const change::ChangeSheet& sheet_;
    const change::InstalledList& expected_;
    const change::SetState& set_after_;
    const Evidence& e_;
    bool failed_ = false, tally_good_ = true, some_lines_ = false;
    int wrong_ = 0;  // pieces of another version, or not there
    Answer a_;
};

}  // namespace

void overrule(Answer& proof, const std::vector<Reason>& against) {
    if (against.empty()) return;
    if (proof.proof != Proof::failed) proof.sentence = fmt::format("Failed: {}.", against.front().text);
    proof.proof = Proof::failed;
    for (const Reason& r : against) proof.judgement.add(r);
}

std::string_view words(Proof p) {
    switch (p) {
        case Proof::proved: return "proved";
        case Proof::partly: return "partly";
        case Proof::failed: return "failed";
    }
    return "partly";
}

std::string_view words(PieceState s) {
    switch (s) {
        case PieceState::as_expected: return "as planned";
        case PieceState::inferred: return "as planned (inferred)";
        case PieceState::other_version: return "another version";
        case PieceState::missing: return "not there";
        case PieceState::not_expected: return "not expected";
        case PieceState::not_read: return "not read";
    }
    return "not read";
}

Answer prove(const family::Family& family, const change::ChangeSheet& sheet, const change::InstalledList& expected,
             const change::SetState& set_after, const Evidence& evidence) {
    return Prover(family, sheet, expected, set_after, evidence).run();
}

}  // namespace fettle::prove
