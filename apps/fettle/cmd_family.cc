#include "cmd_family.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/family/compare.h"
#include "fettle/family/level.h"
#include "fettle/family/questions.h"
#include "fettle/family/signed.h"

namespace fettle::app {
namespace {

using family::Change;
using family::Family;
using family::Finding;

constexpr std::uintmax_t file_limit_bytes = 4u << 20;  // the loader's own, smaller bound names the line

json::array findings_json(const std::vector<Finding>& findings) {
    json::array out;
    for (const Finding& f : findings)
        out.push_back(json::object{{"line", f.line}, {"key", f.key}, {"problem", f.problem}, {"next", f.next}});
    return out;
}

std::string finding_text(const Finding& f, const char* second) {
    return fmt::format("  line {}{}{}: {}\n    {}: {}\n", f.line, f.key.empty() ? "" : ", ", f.key, f.problem, second,
                       f.next);
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

std::string show_text(const Family& f) {
    std::string out = fmt::format("  marque   {}\n{}  digest   sha256 {}\n", f.marque, level_text(f), f.digest);
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
    if (!f.view.reach.empty()) out += "  view     " + f.view.reach + "\n";
    for (const auto& r : f.known)
        out += fmt::format("  release  {}{}{}\n", r.release, r.stepping_stone ? ", stepping stone" : "",
                           r.one_way_door ? ", one-way door" : "");
    for (const auto& a : f.script)
        out += fmt::format("  act      {} ({}, {}): {}{}\n", a.id, a.box, family::words(a.kind), a.words,
                           a.seconds ? fmt::format("; {} to {} [{}]", human_duration(a.seconds->median_s),
                                                   human_duration(a.seconds->p90_s), a.seconds->source)
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

// The open points as questions, in the order of what their answers unlock; each with its places in the file.
std::string questions_text(const std::vector<family::Question>& questions, json::object& data) {
    std::string out;
    json::array list;
    int n = 0;
    if (!questions.empty()) out += "  asked first is what lets most be said:\n";
    for (const family::Question& q : questions) {
        out += fmt::format("  {:>2} {}\n", ++n, q.words);
        if (!q.unlocks.empty()) out += "     then said: " + join(q.unlocks, "; ") + "\n";
        if (q.unlocks.empty())
            out += "     wanted for: " + join(q.towards, "; ") + "\n";
        else if (!q.towards.empty())
            out += fmt::format("     and {} for which a later answer is wanted too\n", q.towards.size());
        for (std::size_t i = 0; i < std::min<std::size_t>(q.at.size(), 3); ++i)
            out +=
                fmt::format("     line {}, {}: {}; so {}\n", q.at[i].line, q.at[i].key, q.at[i].problem, q.at[i].next);
        if (q.at.size() > 3) out += fmt::format("     and {} places more\n", q.at.size() - 3);
        json::array unlocks, towards, keys;
        for (const std::string& u : q.unlocks) unlocks.push_back(json::string(u));
        for (const std::string& t : q.towards) towards.push_back(json::string(t));
        for (const Finding& f : q.at) keys.push_back(json::string(f.key));
        list.push_back(json::object{{"question", q.words},
                                    {"keys", std::move(keys)},
                                    {"unlocks", std::move(unlocks)},
                                    {"towards", std::move(towards)}});
    }
    data["questions"] = std::move(list);
    return out;
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

std::string count(std::size_t n, const char* one, const char* many) {
    return fmt::format("{} {}", n, n == 1 ? one : many);
}

// One line per acceptance; the file is small and written whole.
Status keep_acceptance(const Context& context, const Family& offered, const Family& in_use,
                       const std::vector<Change>& changes, const std::string& by) {
    const auto file = context.families_folder() / (offered.id + ".accepted.jsonl");
    std::string lines;
    std::error_code ec;
    if (std::filesystem::exists(file, ec)) {
        auto before = read_text_file(file);
        if (!before) return pass(before);
        lines = std::move(*before);
    }
    json::array loosened;
    for (const Change& c : changes)
        if (c.loosens) loosened.push_back(json::string(c.key));
    const json::object entry{{"at", iso8601(context.clock->now())},
                             {"by", by},
                             {"from_sha256", in_use.digest},
                             {"to_sha256", offered.digest},
                             {"loosened", std::move(loosened)}};
    return write_file_durably(file, lines + json::serialize(entry) + "\n");
}

}  // namespace

Result<Answer> family_list(Context& context) {
    const auto all = load_families(context);
    if (!all) return pass(all);
    Answer out;
    out.verdict_matters = false;
    out.headline = count(all->size(), "family", "families") + " known here.";
    json::array list;
    for (const Family& f : *all) {
        out.text += fmt::format("  {:<12} {:<3} {}\n", f.id, f.level, f.words);
        list.push_back(family_json(f));
    }
    out.data["families"] = std::move(list);
    return out;
}

Result<Answer> family_show(Context& context, const FamilyShowOptions& options) {
    const auto f = load_family_by_id(context, options.id);
    if (!f) return pass(f);
    Answer out;
    out.verdict_matters = false;
    out.headline = fmt::format("{}: {}", f->id, f->words);
    out.text = show_text(*f);
    out.data = family_json(*f);
    out.data["rungs"] = level_json(*f);
    return out;
}

Result<Answer> family_check(Context&, const FamilyCheckOptions& options) {
    const auto text = read_text_file(options.file, file_limit_bytes);
    if (!text) return pass(text);
    const family::Loaded loaded = family::load_family_text(*text);
    Answer out;
    out.bad_input = !loaded.mistakes.empty();
    out.data["file"] = options.file;
    out.data["id"] = loaded.family.id;
    out.data["digest"] = loaded.family.digest;
    out.data["mistakes"] = findings_json(loaded.mistakes);
    if (out.bad_input) {
        out.headline =
            fmt::format("{} may not be used: {}.", options.file, count(loaded.mistakes.size(), "mistake", "mistakes"));
        for (const Finding& m : loaded.mistakes) out.text += finding_text(m, "next");
        out.judgement.add({"family-file-mistakes", Verdict::halt,
                           count(loaded.mistakes.size(), "mistake is", "mistakes are") + " listed by line and key",
                           options.file, "family file"});
        // What a broken file leaves open cannot be told from what its mistakes hide.
        return out;
    }
    out.data["unknowns"] = findings_json(loaded.unknowns);
    out.headline = fmt::format("{} may be used: family {}, level {}, {} left open.", options.file, loaded.family.id,
                               loaded.family.level, count(loaded.unknowns.size(), "thing", "things"));
    out.data["level"] = loaded.family.level;
    out.data["rungs"] = level_json(loaded.family);
    out.text += level_text(loaded.family);
    const family::Signature signer = family::check_family_signature(*text);
    if (signer.state != family::Signed::none)
        out.text += fmt::format("  signed   by \"{}\": {}\n", signer.by, signer.why);
    out.data["signature"] = signer.state == family::Signed::good      ? "good"
                            : signer.state == family::Signed::changed ? "changed"
                                                                      : "none";
    out.text += questions_text(family::questions_of(loaded.unknowns), out.data);
    return out;
}

Result<Answer> family_add(Context& context, const FamilyAddOptions& options) {
    const auto text = read_text_file(options.file, file_limit_bytes);
    if (!text) return pass(text);
    const auto offered = family::load_family(options.file);
    if (!offered) return pass(offered);
    if (offered->digest != sha256_hex(*text))
        return outside_error("file-changed", options.file, "the file changed while it was read", "add it again");

    std::vector<Change> changes;
    const Family* in_use = nullptr;
    const auto known = load_families(context);
    if (!known && known.error().code != "no-family-files") return pass(known);
    if (known)
        for (const Family& f : *known)
            if (f.id == offered->id) in_use = &f;
    if (in_use) changes = family::compare_families(*in_use, *offered);
    const auto loosened = static_cast<std::size_t>(
        std::count_if(changes.begin(), changes.end(), [](const Change& c) { return c.loosens; }));
    const std::string by(trim(options.accept_loosening_by));

    Answer out;
    out.data["family"] = family_json(*offered);
    out.data["changes"] = changes_json(changes);
    for (const Change& c : changes) out.text += change_text(c);
    if (loosened > 0 && by.empty()) {
        out.headline =
            fmt::format("Not added: it loosens family {} in {}.", offered->id, count(loosened, "place", "places"));
        out.judgement.add(
            {"family-loosens", Verdict::halt,
             "removing a door, a stone, a hold or a condition, changing a key, or letting through what was "
             "held back needs somebody's name: --accept-loosening-by NAME",
             options.file, "family file"});
        return out;
    }
    const auto target = context.families_folder() / (offered->id + ".toml");
    if (const Status made = make_folder(context.families_folder()); !made) return pass(made);
    // The acceptance is kept first: a kill between the two leaves a name without a change, never a change without one.
    if (loosened > 0) {
        if (const Status kept = keep_acceptance(context, *offered, *in_use, changes, by); !kept) return pass(kept);
        out.judgement.add({"family-loosening-accepted", Verdict::mind, fmt::format("{} accepted what is loosened", by),
                           offered->id, "named acceptance"});
    }
    if (const Status written = write_file_durably(target, *text); !written) {
        std::error_code kept;
        std::filesystem::remove(context.families_folder(), kept);  // goes only when it is empty
        return pass(written);
    }
    out.headline = in_use
                       ? fmt::format("Family {} replaced: {}.", offered->id, count(changes.size(), "change", "changes"))
                       : fmt::format("Family {} added.", offered->id);
    out.data["file"] = target.string();
    return out;
}

}  // namespace fettle::app
