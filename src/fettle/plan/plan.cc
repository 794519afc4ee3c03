#include "fettle/plan/plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <set>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/family/cards.h"
#include "fettle/plan/found.h"
#include "fettle/plan/language.h"

namespace fettle::plan {
namespace {

const family::Release* on_shelf(const std::vector<family::Release>& shelf, const std::string& release) {
    const auto at = std::find_if(shelf.begin(), shelf.end(), [&](const auto& r) { return r.release == release; });
    return at == shelf.end() ? nullptr : &*at;
}

// What is installed, from the indexes of the releases that the boxes show; each box by its own.
change::InstalledList inferred(const std::vector<family::Release>& shelf, const change::SetState& set) {
    change::InstalledList list;
    std::set<std::string> from;
    for (const auto& [role, box] : set) {
        const auto* shown = on_shelf(shelf, box.release);
        if (shown == nullptr) return {};  // a list with a hole would say "not there" of what is only not known
        from.insert(box.release);
        const auto of_box = change::infer(*shown, {{role, box}});
        list.pieces.insert(list.pieces.end(), of_box.pieces.begin(), of_box.pieces.end());
    }
    list.origin = Origin::inferred;
    list.inferred_from = join({from.begin(), from.end()}, " and ");
    return list;
}

std::vector<std::string> words_of(std::string_view text) {
    static const std::set<std::string> too_common = {"after", "with",   "from",  "that",  "this", "when",
                                                     "does",  "always", "often", "shows", "only", "then",
                                                     "stays", "once",   "have",  "very"};
    std::vector<std::string> out;
    std::string word;
    const auto end = [&] {
        if (word.size() >= 4 && too_common.count(word) == 0) out.push_back(word);
        word.clear();
    };
    for (const char c : text) {
        const auto u = static_cast<unsigned char>(c);
        if (std::isalnum(u) != 0 || u >= 0x80) {
            word += static_cast<char>(std::tolower(u));
        } else {
            end();
        }
    }
    end();
    return out;
}

// Two words speak of the same thing if the shorter one, less its last two letters, begins the longer ("reversing",
// "reverse"). A hit needs two such words, or the complaint's only one.
std::optional<Cure> cure_of(const std::string& release, const std::string& text,
                            const std::vector<std::string>& complaint) {
    std::vector<std::string> hits;
    const auto noted = words_of(text);
    for (const auto& c : complaint) {
        const bool hit = std::any_of(noted.begin(), noted.end(), [&](const std::string& n) {
            const std::size_t common = std::max<std::size_t>(4, std::min(c.size(), n.size()) - 2);
            return c.substr(0, common) == n.substr(0, common);
        });
        if (hit && std::find(hits.begin(), hits.end(), c) == hits.end()) hits.push_back(c);
    }
    if (hits.size() < std::min<std::size_t>(2, complaint.size()) || hits.empty()) return std::nullopt;
    return Cure{release, text, hits};
}

// Notes of every release after the installed one and up to the target: a release carries its forerunners' cures.
std::vector<Cure> cures_along(const PlanRequest& q, const std::string& from, const std::string& to) {
    std::vector<Cure> out;
    const auto complaint = words_of(q.complaint);
    const auto look = [&](const std::string& release, const std::vector<std::string>& cures) {
        const auto up_to = family::compare_versions(q.family->order, release, to);
        const auto after = family::compare_versions(q.family->order, release, from);
        // Without a route "newest" names no release: the notes of whatever is newer than the box are asked.
        const bool below = to == "newest" || (up_to && *up_to < 0);
        if (release != to && !(below && after && *after > 0)) return;
        for (const auto& text : cures) {
            const bool seen = std::any_of(out.begin(), out.end(), [&](const Cure& c) { return c.text == text; });
            if (seen) continue;
            if (auto cure = cure_of(release, text, complaint)) out.push_back(std::move(*cure));
        }
    };
    for (const auto& r : q.shelf) look(r.release, r.cures);
    for (const auto& k : q.family->known) look(k.release, k.cures);
    return out;
}

// Clearly so: of notes and complaint the language is told, and it differs from that of every note.
bool in_another_language(const PlanRequest& q) {
    const std::string of_complaint = language_of(q.complaint);
    bool any = false, same = of_complaint.empty();
    const auto look = [&](const std::vector<std::string>& notes) {
        for (const auto& note : notes) {
            const std::string of_note = language_of(note);
            any = any || !of_note.empty();
            same = same || of_note == of_complaint;
        }
    };
    for (const auto& r : q.shelf) look(r.cures);
    for (const auto& k : q.family->known) look(k.cures);
    return any && !same;
}

void judge_worth(const PlanRequest& q, Plan& p) {
    if (p.complaint.empty()) return;
    for (const OwnOutcome& o : q.own_outcomes)
        p.judgement.add(
            {"worth-by-own-jobs", Verdict::fit,
             fmt::format("of {} unit{} with such a complaint that {} brought to {} here, {} came back with it", o.units,
                         o.units == 1 ? "" : "s", o.units == 1 ? "was" : "were", o.release,
                         o.came_back == 0 ? "none" : std::to_string(o.came_back)),
             "complaint", fmt::format("measured {}", o.units)});
    if (p.cures.empty() && in_another_language(q)) {
        p.judgement.add({"worth-language", Verdict::cant_say,
                         fmt::format("\"{}\" is in a language that no release note is in, so whether they speak of it "
                                     "is not known",
                                     p.complaint),
                         "complaint", "release notes", "give the complaint in the language of the notes"});
        return;
    }
    std::vector<std::string> notes;
    for (const auto& c : p.cures) notes.push_back(fmt::format("{} \"{}\"", c.release, c.text));
    p.judgement.add(
        {notes.empty() ? "worth-not-known" : "worth-doing", Verdict::fit,
         notes.empty() ? fmt::format("nothing is known in the release notes about \"{}\"", p.complaint)
                       : fmt::format("release notes speak of the complaint \"{}\": {}", p.complaint, join(notes, "; ")),
         "complaint", "release notes"});
}

// 2: something stands against the step, 1: something of it is not known.
int doubt_of(const PlanStep& step) {
    Verdict worst = step.cards == 0 ? Verdict::cant_say : Verdict::fit;
    for (const Judgement* j : {&step.sheet.judgement, &step.forecast.judgement, &step.map.judgement})
        worst = worse(worst, j->verdict());
    return worst == Verdict::halt ? 2 : worst == Verdict::cant_say ? 1 : 0;
}

route::StepCost cost_of(const PlanRequest& q, const change::SetState& set, const change::InstalledList& found) {
    return [&](const family::Release& release, const change::SetState& before) -> route::StepWeight {
        const PlanStep step = make_step(*q.family, release, before, before == set ? found : inferred(q.shelf, before),
                                        q.shelf, 1, {}, q.seed);
        return {step.map.no_way_back_p90_s, step.forecast.total.p90_s + usual_handling().median_s, doubt_of(step)};
    };
}

void add_step(const PlanRequest& q, const family::Release& release, const change::SetState& before, Plan& p) {
    const change::InstalledList installed =
        p.steps.empty() ? p.as_found
                        : change::after(p.steps.back().sheet, p.steps.back().release, p.steps.back().installed);
    const auto own = q.own_runs.find(release.release);
    PlanStep step = make_step(*q.family, release, before, installed, q.shelf, q.cuts,
                              own != q.own_runs.end() ? own->second : std::vector<forecast::PastRun>{}, q.seed);
    for (const Judgement* j : {&step.sheet.judgement, &step.forecast.judgement, &step.map.judgement}) {
        for (Reason r : j->reasons) {
            const bool said =
                std::any_of(p.judgement.reasons.begin(), p.judgement.reasons.end(),
                            [&](const Reason& have) { return have.code == r.code && have.text == r.text; });
            if (said) continue;
            r.where = fmt::format("step {}, {}", p.steps.size() + 1, r.where);
            p.judgement.add(std::move(r));
        }
    }
    if (step.cards == 0) {
        const Error e = family::split_release(*q.family, release).error();
        p.judgement.add({e.code, e.code == "sizes-not-known" ? Verdict::cant_say : Verdict::halt,
                         fmt::format("how many cards {} takes: {}", release.release, e.problem),
                         fmt::format("step {}, card", p.steps.size() + 1), "family file"});
    }
    p.steps.push_back(std::move(step));
}

// At the target release, but single pieces of a typed or read list are not: one step to the same release puts it right.
void add_mending_step(const PlanRequest& q, Plan& p) {
    const auto* same = on_shelf(q.shelf, p.to);
    if (same == nullptr || p.as_found.origin == Origin::inferred) return;
    const auto sheet = change::change_sheet(*q.family, *same, p.as_found, p.set, q.shelf);
    if (sheet.nothing_to_do()) return;
    p.nothing_to_do = false;
    const auto newer = std::count_if(sheet.lines.begin(), sheet.lines.end(), [](const auto& l) { return l.downgrade; });
    p.judgement.add(
        {"mixed-set", Verdict::mind,
         fmt::format("the boxes show {}, but {} pieces of the as-found list differ from it: {}", p.to,
                     sheet.count(change::Action::add) + sheet.count(change::Action::replace),
                     newer > 0
                         ? fmt::format("{} of them are newer. Find out what was begun before here: this step would "
                                       "put them back",
                                       newer)
                         : std::string("one step to the same release puts them right")),
         "as found", std::string(words(p.as_found.origin))});
    add_step(q, *same, p.set, p);
    p.steps.back().one_way_door = false;  // it was passed already
}

}  // namespace

bool speaks_of(const std::string& text, const std::string& complaint) {
    return cure_of("", text, words_of(complaint)).has_value();
}

family::Duration usual_handling() {
    return {180, 420, "guess", {}};
}

std::string time_words(const forecast::Forecast& forecast, double seconds) {
    return forecast.states.empty() ? "not known" : human_duration(seconds);
}

std::vector<HandsOn> hands_on(const forecast::Forecast& forecast) {
    std::vector<HandsOn> out;
    for (const auto& s : forecast.states) {
        if (s.hands_on) out.push_back({s.act, s.begins.p10_s, s.begins.p90_s});
    }
    return out;
}

change::SetState set_of(const family::Family& family, const identity::Identity& identity) {
    change::SetState set;
    for (const auto& b : family.boxes) {
        const auto* box = identity.box(b.role);
        change::BoxState s;
        const auto own = identity.releases.find(b.role);
        s.release = own == identity.releases.end() ? identity.release : own->second;
        s.market = identity.market;
        if (box != nullptr) {
            const auto issue = box->fields.find("issue");
            const bool only_likely = std::find(box->likely.begin(), box->likely.end(), "issue") != box->likely.end();
            if (issue != box->fields.end() && !only_likely) s.issue = issue->second;
        }
        set[b.role] = std::move(s);
    }
    return set;
}

PlanStep make_step(const family::Family& family, const family::Release& release, const change::SetState& before,
                   const change::InstalledList& installed, const std::vector<family::Release>& shelf, int cuts,
                   const std::vector<forecast::PastRun>& own_runs, std::uint64_t seed) {
    PlanStep step;
    step.release = release;
    step.before = before;
    step.after = change::set_after(family, before, release);
    step.installed = installed;
    const auto* known = family.known_release(release.release);
    step.one_way_door = change::is_one_way_door(family, release);
    step.stepping_stone = known != nullptr && known->stepping_stone;
    step.sheet = change::change_sheet(family, release, installed, before, shelf);
    step.forecast = forecast::forecast(family, step.sheet, own_runs, seed);
    step.map = cutmap::power_cut_map(family, step.sheet, step.forecast, cuts);
    const auto split = family::split_release(family, release);
    step.cards = split ? split->cards : 0;
    return step;
}

Plan make_plan(const PlanRequest& q) {
    Plan p;
    p.family = q.family->id;
    p.family_digest = q.family->digest;
    p.set = route::with_counters(*q.family, q.shelf, q.set);
    p.complaint = q.complaint;
    p.as_found = q.as_found ? *q.as_found : inferred(q.shelf, p.set);
    std::set<std::string> shown;
    for (const auto& [role, box] : q.set) shown.insert(box.release);
    if (shown.size() == 1) p.from = *shown.begin();
    p.route =
        route::find_route(*q.family, q.shelf, p.set, {q.to, q.consent, q.shelf_as_of}, cost_of(q, p.set, p.as_found));
    p.judgement.add(p.route.judgement);
    p.judgement.add(judge_found(*q.family, q.shelf, p.as_found, p.set));
    p.to = q.to;
    if (p.route.recommended) {
        const auto& steps = p.route.recommended->steps;
        p.nothing_to_do = steps.empty();
        p.to = steps.empty() ? (q.to == "newest" ? p.from : q.to) : steps.back().release;
        for (const auto& s : steps) {
            add_step(q, *on_shelf(q.shelf, s.release), s.before, p);
            p.steps.back().one_way_door = s.one_way_door;
        }
        if (steps.empty()) add_mending_step(q, p);
    }
    p.cures = cures_along(q, p.from, p.to);
    judge_worth(q, p);
    std::vector<forecast::Forecast> forecasts;
    for (const auto& s : p.steps) forecasts.push_back(s.forecast);
    p.total = forecast::total_of(forecasts, usual_handling());
    return p;
}

std::vector<Cure> cures_known(const family::Family& family, const std::vector<family::Release>& shelf,
                              const std::string& complaint) {
    std::vector<Cure> out;
    const auto asked = words_of(complaint);
    const auto look = [&](const std::string& release, const std::vector<std::string>& cures) {
        for (const auto& text : cures) {
            const bool seen = std::any_of(out.begin(), out.end(), [&](const Cure& c) { return c.text == text; });
            if (seen) continue;
            if (auto cure = cure_of(release, text, asked)) out.push_back(std::move(*cure));
        }
    };
    for (const auto& r : shelf) look(r.release, r.cures);
    for (const auto& k : family.known) look(k.release, k.cures);
    return out;
}

}  // namespace fettle::plan
