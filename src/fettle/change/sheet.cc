// The change sheet: per piece what the step does and which condition decided, and the counts that follow.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/change/change.h"

namespace fettle::change {
namespace {

constexpr std::size_t named_at_most = 5;  // in a sentence; the sheet itself names all

std::string sha256_of(const family::Piece& p) {
    if (p.files.size() != 1) return {};
    const auto d = p.files.front().digests.find("sha256");
    return d == p.files.front().digests.end() ? std::string() : d->second;
}

std::string some(const std::vector<std::string>& names) {
    if (names.size() <= named_at_most) return join(names, ", ");
    const std::vector<std::string> first(names.begin(), names.begin() + named_at_most);
    return fmt::format("{} and {} more", join(first, ", "), names.size() - named_at_most);
}

Line line_for(const family::Family& family, const family::Piece& p, const InstalledList& as_found,
              const SetState& set) {
    Line line{p.box, p.name, p.region, "", p.version, Action::replace, "", 0, false};
    const auto* installed = as_found.find(p.box, p.name);
    if (installed != nullptr) line.before = installed->version;
    const auto box = set.find(p.box);
    if (applies(p, set) == Truth::no) {
        line.action = Action::does_not_apply;
        line.after = line.before;
        line.because =
            fmt::format("for issue {} only, the {} box is {}", join(p.issues, ", "), p.box, box->second.issue);
        return line;
    }
    const auto order =
        installed == nullptr ? std::nullopt : family::compare_versions(family.order, p.version, installed->version);
    if (installed == nullptr) {
        // Nothing known of the whole list: what is there is not known, so it counts as a replacement.
        line.action = as_found.pieces.empty() ? Action::replace : Action::add;
        line.because = as_found.pieces.empty() ? "nothing is known of what is installed" : "not on the as-found list";
    } else if (installed->version == p.version) {
        const std::string offered = sha256_of(p);
        const bool both = !installed->sha256.empty() && !offered.empty();
        if (both && installed->sha256 != offered) {
            line.because = fmt::format("same version {}, other digest", p.version);
        } else {
            line.action = Action::keep;
            line.because = fmt::format("{} is installed{}", p.version, both ? ", same digest" : "");
        }
    } else if (order && *order < 0) {
        line.downgrade = true;
        line.action = family.refuses_older ? Action::refuse : Action::replace;
        line.because = fmt::format("{} is older than the installed {}", p.version, installed->version);
    } else if (order && *order > 0) {
        line.because = fmt::format("{} is newer than {}", p.version, installed->version);
    } else {
        line.because =
            fmt::format("{} is another version than {}; which is newer is not known", p.version, installed->version);
    }
    if (line.action == Action::refuse) line.after = line.before;
    if (line.action == Action::add || line.action == Action::replace) line.bytes = p.bytes();
    return line;
}

// The box takes nothing older, and whether this is older cannot be told: it may land or be refused.
bool undecided(const family::Family& family, const Line& line) {
    return family.refuses_older && line.action == Action::replace && !line.before.empty() &&
           line.before != line.after && !family::compare_versions(family.order, line.after, line.before);
}

// What an inferred list cannot exclude: any single piece may have been left at another version by an earlier run. A
// piece that is the same in every release that could have left it behind is certain.
ExpectedTally tally_of(const family::Family& family, const std::vector<Line>& lines, const family::Release& release,
                       const InstalledList& as_found, const SetState& set, const std::vector<family::Release>& others) {
    const bool counts_not_applying = family.tally && family.tally->counts_not_applying;
    ExpectedTally t;
    int sure_kept = 0, not_decided = 0;
    for (const auto& line : lines) {
        not_decided += undecided(family, line) ? 1 : 0;
        const auto* offered = release.piece(line.box, line.name);
        switch (line.action) {
            case Action::add:
            case Action::replace: ++t.landed.expected; break;
            case Action::keep: ++t.passed_over.expected; break;
            case Action::refuse: ++t.refused.expected; break;
            case Action::does_not_apply:
                if (counts_not_applying && offered != nullptr) {
                    ++t.passed_over.expected;
                    ++sure_kept;
                }
                break;
        }
        if (line.action != Action::keep || offered == nullptr || others.empty()) continue;
        const bool same = std::all_of(others.begin(), others.end(), [&](const family::Release& o) {
            const auto* p = o.piece(line.box, line.name);
            return p != nullptr && p->version == offered->version && sha256_of(*p) == sha256_of(*offered);
        });
        if (same) ++sure_kept;
    }
    t.total = t.landed.expected + t.passed_over.expected + t.refused.expected;
    const int unknown_issue =
        static_cast<int>(std::count_if(release.pieces.begin(), release.pieces.end(),
                                       [&](const family::Piece& p) { return applies(p, set) == Truth::unknown; }));
    t.landed.low = t.landed.high = t.landed.expected;
    t.passed_over.low = t.passed_over.high = t.passed_over.expected;
    t.refused.low = t.refused.high = t.refused.expected;
    if (as_found.origin == Origin::inferred) {
        t.landed.low = 0;
        t.landed.high = t.total - sure_kept;
        t.passed_over.low = sure_kept;
        t.passed_over.high = t.total;
        if (family.refuses_older) {
            t.refused.low = 0;
            t.refused.high = t.total - sure_kept;
        }
    } else {
        t.landed.low -= not_decided;
        t.refused.high += not_decided;
    }
    t.landed.low = std::max(0, t.landed.low - unknown_issue);
    t.passed_over.low = std::max(0, t.passed_over.low - unknown_issue);
    return t;
}

void judge_list(const family::Family& family, const family::Release& release, const InstalledList& as_found,
                const SetState& set, const ChangeSheet& sheet, Judgement& out) {
    std::set<std::pair<std::string, std::string>> once;
    std::vector<std::string> twice, strange, unreadable, down, refused, open;
    for (const auto& p : as_found.pieces) {
        if (!once.insert({p.box, p.name}).second) twice.push_back(p.box + " " + p.name);
        if (set.count(p.box) == 0) strange.push_back(p.box + " " + p.name);
        if (!family::compare_versions(family.order, p.version, p.version)) unreadable.push_back(p.box + " " + p.name);
    }
    for (const auto& line : sheet.lines) {
        if (line.downgrade && line.action != Action::refuse) down.push_back(line.box + " " + line.name);
        if (line.action == Action::refuse) refused.push_back(line.box + " " + line.name);
        if (undecided(family, line)) open.push_back(line.box + " " + line.name);
    }
    const std::string origin(words(as_found.origin));
    if (!twice.empty()) {
        out.add({"piece-twice", Verdict::cant_say,
                 fmt::format("the as-found list names {} twice: what is installed there is not known", some(twice)),
                 "as found", origin});
    }
    if (!strange.empty()) {
        out.add({"piece-strange", Verdict::cant_say,
                 fmt::format("the as-found list has pieces of a box that is not in this set: {}", some(strange)),
                 "as found", origin});
    }
    if (!unreadable.empty()) {
        out.add({"version-unreadable", Verdict::mind,
                 fmt::format("the as-found versions of {} are not of this family's form: older or newer cannot be told",
                             some(unreadable)),
                 "as found", origin});
    }
    if (!open.empty()) {
        out.add({"refusal-not-known", Verdict::cant_say,
                 fmt::format("{} may land or be refused: the box takes nothing older, and which of the two versions "
                             "is older cannot be told",
                             some(open)),
                 "change sheet", origin});
    }
    if (!down.empty()) {
        out.add({"silent-downgrade", Verdict::mind,
                 fmt::format("{} would put back {} to an older version than installed: {}", release.release,
                             down.size() == 1 ? "one piece" : fmt::format("{} pieces", down.size()), some(down)),
                 "change sheet", origin});
    }
    if (!refused.empty()) {
        out.add({"older-refused", Verdict::mind,
                 fmt::format("the box will refuse {}: older than installed, and this family takes nothing older",
                             some(refused)),
                 "change sheet", "family file"});
    }
}

// Names of a typed or read list that no release known here has; and what the installed release has and a typed list
// does not name: not there, or not typed?
void judge_names(const family::Release& release, const InstalledList& as_found, const SetState& set,
                 const std::vector<family::Release>& others, const ChangeSheet& sheet, Judgement& out) {
    const bool typed = as_found.origin == Origin::typed;
    const std::string origin(words(as_found.origin));
    std::vector<std::string> unknown, added, untold;
    std::set<std::string> boxes;  // of the unknown ones
    for (const auto& p : as_found.pieces) {
        const auto has = [&](const family::Release& r) { return r.piece(p.box, p.name) != nullptr; };
        if (set.count(p.box) == 0 || has(release) || std::any_of(others.begin(), others.end(), has)) continue;
        unknown.push_back(p.box + " " + p.name);
        boxes.insert(p.box);
    }
    for (const auto& line : sheet.lines) {
        if (line.action != Action::add) continue;
        if (boxes.count(line.box) != 0) added.push_back(line.box + " " + line.name);
        const std::string& shown = set.at(line.box).release;
        const bool was_there = std::any_of(others.begin(), others.end(), [&](const family::Release& r) {
            const auto* p = r.release == shown ? r.piece(line.box, line.name) : nullptr;
            return p != nullptr && applies(*p, set) == Truth::yes;
        });
        if (was_there) untold.push_back(line.box + " " + line.name);
    }
    if (!unknown.empty()) {
        const bool matters = typed && !added.empty();
        out.add({"piece-unknown", matters ? Verdict::cant_say : Verdict::mind,
                 matters ? fmt::format("no release known here has {}, and {} {} not on the list: if it is a matter of "
                                       "spelling, what the step changes there can't be said",
                                       some(unknown), some(added), added.size() == 1 ? "is" : "are")
                         : fmt::format("no release known here has {}: it stays as it is", some(unknown)),
                 "as found", origin});
    }
    if (typed && !untold.empty()) {
        out.add({"as-found-short", Verdict::mind,
                 fmt::format("the list does not name {}, which the installed release has: counted as not there; if "
                             "only not typed, fewer may land",
                             some(untold)),
                 "as found", origin});
    }
}

}  // namespace

std::string_view words(Action a) {
    switch (a) {
        case Action::add: return "add";
        case Action::replace: return "replace";
        case Action::keep: return "keep";
        case Action::does_not_apply: return "does not apply";
        case Action::refuse: return "refuse";
    }
    return "replace";
}

int ChangeSheet::count(Action a) const {
    return static_cast<int>(std::count_if(lines.begin(), lines.end(), [a](const Line& l) { return l.action == a; }));
}

bool ChangeSheet::nothing_to_do() const {
    return count(Action::add) + count(Action::replace) + count(Action::refuse) == 0;
}

ChangeSheet change_sheet(const family::Family& family, const family::Release& release, const InstalledList& as_found,
                         const SetState& set, const std::vector<family::Release>& others) {
    ChangeSheet sheet;
    sheet.to = release.release;
    sheet.from = as_found.inferred_from;
    if (sheet.from.empty()) {  // a typed or read list: what the boxes that the release writes show, if they agree
        std::set<std::string> shown;
        for (const auto& [role, box] : set) shown.insert(box.release);
        if (shown.size() == 1) sheet.from = *shown.begin();
    }
    sheet.rests_on = as_found.origin;
    for (const auto& p : release.pieces) {
        if (set.count(p.box) == 0) continue;  // fit names the missing box
        sheet.lines.push_back(line_for(family, p, as_found, set));
        sheet.bytes += sheet.lines.back().bytes;
    }
    for (const auto& p : as_found.pieces) {
        if (release.piece(p.box, p.name) != nullptr) continue;
        sheet.lines.push_back({p.box, p.name, "", p.version, p.version, Action::does_not_apply,
                               "not part of the release; it stays as it is", 0, false});
    }
    sheet.tally = tally_of(family, sheet.lines, release, as_found, set, others);
    judge_list(family, release, as_found, set, sheet, sheet.judgement);
    if (as_found.origin != Origin::inferred) judge_names(release, as_found, set, others, sheet, sheet.judgement);
    if (as_found.origin == Origin::inferred) {
        const bool none = as_found.pieces.empty();
        sheet.judgement.add(
            {none ? "as-found-unknown" : "as-found-inferred", none ? Verdict::mind : Verdict::fit,
             none ? std::string("what is installed is not known: every piece counts as one to be replaced")
                  : fmt::format("the as-found list is inferred from the index of {}; single pieces may differ, so {} "
                                "to {} may land",
                                as_found.inferred_from, sheet.tally.landed.low, sheet.tally.landed.high),
             "as found", "inferred"});
    }
    if (sheet.nothing_to_do()) {
        sheet.judgement.add({"nothing-to-write", Verdict::fit, "every piece is installed already", "change sheet",
                             std::string(words(as_found.origin))});
    }
    return sheet;
}

}  // namespace fettle::change
