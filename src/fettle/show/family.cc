#include "fettle/show/family.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/family/level.h"
#include "fettle/family/questions.h"

namespace fettle::show {
namespace {

using family::Change;
using family::Family;
using family::Finding;

json::array findings_json(const std::vector<Finding>& findings) {
    json::array out;
    for (const Finding& f : findings)
        out.push_back(json::object{{"line", f.line}, {"key", f.key}, {"problem", f.problem}, {"next", f.next}});
    return out;
}

json::object family_json(const Family& f) {
    json::array roles, releases;
    for (const auto& b : f.boxes) roles.push_back(json::string(b.role));
    for (const auto& r : f.known)
        releases.push_back(json::object{
            {"release", r.release}, {"stepping_stone", r.stepping_stone}, {"one_way_door", r.one_way_door}});
    return {{"id", f.id},
            {"marque", f.marque},
            {"words", f.words},
            {"level", f.level},
            {"digest", f.digest},
            {"boxes", roles},
            {"releases", releases},
            {"newest_known", f.newest_release},
            {"newest_as_of", f.newest_as_of}};
}

// What bears the level out, and what the next one wants.
json::array level_json(const Family& f) {
    json::array out;
    for (const family::Rung& r : family::level_of(f).rungs)
        out.push_back(json::object{{"level", fmt::format("L{}", r.level)},
                                   {"means", r.means},
                                   {"there", r.there},
                                   {"why", r.there ? r.has : r.wants}});
    return out;
}

std::string level_text(const Family& f) {
    const family::Level level = family::level_of(f);
    std::string out = fmt::format("  level    {} ({})", f.level, family::level_words(f.level));
    if (f.level != fmt::format("L{}", level.level))
        out += fmt::format("; what is in it would bear out L{}", level.level);
    out += "\n";
    for (const family::Rung& r : level.rungs) {
        out +=
            fmt::format("           L{} {}: {}\n", r.level, r.there ? "borne out" : "wants", r.there ? r.has : r.wants);
        if (!r.there) break;
    }
    return out;
}

std::string boxes_text(const Family& f) {
    std::string out;
    for (const auto& b : f.boxes) {
        out += fmt::format("  box      {}: {}", b.role, b.words);
        if (!b.plate.examples.empty()) out += fmt::format(", plate such as {}", b.plate.examples.front());
        if (!b.written_by.empty())
            out += b.written_by == "own medium" ? ", written from its own medium"
                                                : ", written by the " + b.written_by + " box";
        if (!b.supply.empty()) out += ", fed by " + printable(b.supply);
        out += "\n";
        if (!b.plate.reach.empty()) out += "           " + b.plate.reach + "\n";
    }
    return out;
}

std::string family_text(const Family& f) {
    std::string out = fmt::format("  marque   {}\n{}  digest   sha256 {}\n", f.marque, level_text(f), f.digest);
    out += boxes_text(f);
    if (!f.view.reach.empty()) out += "  view     " + f.view.reach + "\n";
    for (const auto& r : f.known)
        out += fmt::format("  release  {}{}{}\n", r.release, r.stepping_stone ? ", stepping stone" : "",
                           r.one_way_door ? ", one-way door" : "");
    for (const auto& a : f.script)
        out += fmt::format("  act      {} ({}, {}): {}{}\n", a.id, a.box, family::words(a.kind), a.words,
                           a.seconds ? fmt::format("; {} to {} [{}]", human_duration(a.seconds->median_s),
                                                   human_duration(a.seconds->p90_s), a.seconds->source.words())
                                     : "");
    for (const auto& b : f.boot)
        out += fmt::format("  boot     {} {}: needs {}; goes on {}\n", b.box, b.mode, join(b.needs, ", "), b.goes_on);
    if (f.boot.empty()) out += "  boot     not known\n";
    for (const auto& h : f.holds) out += fmt::format("  hold     {}\n", h.words);
    if (!f.newest_release.empty())
        out += fmt::format("  newest   {} known as of {}\n", f.newest_release, f.newest_as_of);
    for (const std::string& p : f.primer) out += "  know     " + p + "\n";
    return out;
}

std::string question_text(const family::Question& q, int number) {
    constexpr std::size_t shown = 3;
    std::string out = fmt::format("  {:>2} {}\n", number, q.words);
    if (q.unlocks.empty())
        out += "     wanted for: " + join(q.towards, "; ") + "\n";
    else
        out += "     then said: " + join(q.unlocks, "; ") + "\n";
    if (!q.unlocks.empty() && !q.towards.empty())
        out += fmt::format("     and {} for which a later answer is wanted too\n", q.towards.size());
    for (std::size_t i = 0; i < std::min(q.at.size(), shown); ++i)
        out += fmt::format("     line {}, {}: {}; so {}\n", q.at[i].line, q.at[i].key, q.at[i].problem, q.at[i].next);
    if (q.at.size() > shown) out += fmt::format("     and {} places more\n", q.at.size() - shown);
    return out;
}

json::object question_json(const family::Question& q) {
    json::array keys;
    for (const Finding& f : q.at) keys.push_back(json::string(f.key));
    return {{"question", q.words},
            {"keys", std::move(keys)},
            {"unlocks", texts_as_json(q.unlocks)},
            {"towards", texts_as_json(q.towards)}};
}

void add_mistakes(const workshop::CheckedFamily& c, Answer& out) {
    const auto& mistakes = c.loaded.mistakes;
    out.bad_input = true;
    out.headline = fmt::format("{} may not be used: {}.", c.file, plural(mistakes.size(), "mistake"));
    for (const Finding& m : mistakes)
        out.text += fmt::format("  line {}{}{}: {}\n    next: {}\n", m.line, m.key.empty() ? "" : ", ", m.key,
                                m.problem, m.next);
    out.judgement.add({"family-file-mistakes", Verdict::halt,
                       plural(mistakes.size(), "mistake is", "mistakes are") + " listed by line and key", c.file,
                       "family file"});
}

// The open points as questions, in the order of what their answers unlock; each with its places in the file.
void add_questions(const std::vector<family::Question>& questions, Answer& out) {
    json::array list;
    int n = 0;
    if (!questions.empty()) out.text += "  asked first is what lets most be said:\n";
    for (const family::Question& q : questions) {
        out.text += question_text(q, ++n);
        list.push_back(question_json(q));
    }
    out.data["questions"] = std::move(list);
}

json::array changes_json(const std::vector<Change>& changes) {
    json::array out;
    for (const Change& c : changes)
        out.push_back(json::object{{"key", c.key}, {"before", c.before}, {"after", c.after}, {"loosens", c.loosens}});
    return out;
}

std::string change_text(const Change& c) {
    const auto value = [](const std::string& v) { return v.empty() ? std::string("not there") : "\"" + v + "\""; };
    return fmt::format("  {} {}: {} → {}\n", c.loosens ? "loosens" : "changes", c.key, value(c.before), value(c.after));
}

}  // namespace

std::string_view code(family::Signed state) {
    switch (state) {
        case family::Signed::good: return "good";
        case family::Signed::changed: return "changed";
        case family::Signed::none: return "none";
    }
    return "";
}

Answer families(const std::vector<Family>& known) {
    Answer out;
    out.verdict_matters = false;
    out.headline = plural(known.size(), "family", "families") + " known here.";
    json::array list;
    for (const Family& f : known) {
        out.text += fmt::format("  {:<12} {:<3} {}\n", f.id, f.level, f.words);
        list.push_back(family_json(f));
    }
    out.data["families"] = std::move(list);
    return out;
}

Answer family(const Family& f) {
    Answer out;
    out.verdict_matters = false;
    out.headline = fmt::format("{}: {}", f.id, f.words);
    out.text = family_text(f);
    out.data = family_json(f);
    out.data["rungs"] = level_json(f);
    return out;
}

Answer checked(const workshop::CheckedFamily& c) {
    const Family& f = c.loaded.family;
    Answer out;
    out.data = {{"file", c.file}, {"id", f.id}, {"digest", f.digest}, {"mistakes", findings_json(c.loaded.mistakes)}};
    if (!c.loaded.mistakes.empty()) {
        add_mistakes(c, out);
        return out;
    }
    out.data["unknowns"] = findings_json(c.loaded.unknowns);
    out.headline = fmt::format("{} may be used: family {}, level {}, {} left open.", c.file, f.id, f.level,
                               plural(c.loaded.unknowns.size(), "thing"));
    out.data["level"] = f.level;
    out.data["rungs"] = level_json(f);
    out.text += level_text(f);
    if (c.signer.state != family::Signed::none)
        out.text += fmt::format("  signed   by \"{}\": {}\n", c.signer.by, c.signer.why);
    out.data["signature"] = code(c.signer.state);
    add_questions(family::questions_of(c.loaded.unknowns), out);
    return out;
}

Answer added(const workshop::AddedFamily& a) {
    const std::string& id = a.offered.id;
    Answer out;
    out.judgement = a.judgement;
    out.data["family"] = family_json(a.offered);
    out.data["changes"] = changes_json(a.changes);
    for (const Change& c : a.changes) out.text += change_text(c);
    if (a.in_use.empty()) {
        out.headline = fmt::format("Not added: it loosens family {} in {}.", id, plural(a.loosened, "place"));
        return out;
    }
    out.headline = a.was_known ? fmt::format("Family {} replaced: {}.", id, plural(a.changes.size(), "change"))
                               : fmt::format("Family {} added.", id);
    out.data["file"] = a.in_use.string();
    return out;
}

}  // namespace fettle::show
