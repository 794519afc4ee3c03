#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/compare.h"
#include "fettle/family/edit.h"
#include "fettle/family/level.h"
#include "fettle/learn/lines.h"

namespace fettle::learn {
namespace {

std::string list_of(const std::vector<std::string>& texts) {
    std::vector<std::string> out;
    for (const std::string& t : texts) out.push_back(family::toml_text(t));
    return "[" + join(out, ", ") + "]";
}

// One [[watched]] for the run: new, or with what came to light now.
Result<std::string> counted(std::string text, const Seen& seen, const Learnt& learnt, const std::string& by) {
    const family::Family f = family::load_family_text(text).family;
    const auto at = std::find_if(f.watched.begin(), f.watched.end(),
                                 [&](const family::WatchedRun& w) { return w.run == seen.run; });
    if (at == f.watched.end()) {
        std::string block =
            fmt::format("[[watched]]  # counted once\nrun = {}\nday = {}\n", family::toml_text(seen.run), seen.day);
        if (!learnt.contradicts.empty()) block += fmt::format("contradicts = {}\n", list_of(learnt.contradicts));
        if (!by.empty()) block += fmt::format("allowed_by = {}\n", family::toml_text(by));
        return family::with_block(text, block);
    }
    std::vector<std::string> all = at->contradicts;
    for (const std::string& c : learnt.contradicts)
        if (std::find(all.begin(), all.end(), c) == all.end()) all.push_back(c);
    const int item = static_cast<int>(at - f.watched.begin());
    if (all.size() > at->contradicts.size()) {
        auto next = family::set_value(text, {"watched", item, "contradicts", list_of(all), ""});
        if (!next) return next;
        text = std::move(*next);
    }
    if (by.empty() || by == at->allowed_by) return text;
    const std::string both = at->allowed_by.empty() ? by : at->allowed_by + "; " + by;
    return family::set_value(text, {"watched", item, "allowed_by", family::toml_text(both), ""});
}

}  // namespace

Result<std::string> with_line(std::string_view toml, const Line& l) {
    if (!l.block.empty()) return family::with_block(toml, l.block);
    if (l.section.empty()) return std::string(toml);  // stands with the run itself
    return family::set_value(toml, {l.section, l.item, l.edit_key, l.after, l.rests_on});
}

family::Family with_all(std::string_view toml, const std::vector<Line>& lines) {
    std::string text(toml);
    for (const Line& l : lines) {
        auto next = with_line(text, l);
        if (next) text = std::move(*next);
    }
    family::Loaded loaded = family::load_family_text(text);
    return loaded.mistakes.empty() ? std::move(loaded.family) : family::Family();
}

bool loosens(std::string_view toml, const family::Family& before, const Line& line) {
    if (!line.block.empty()) return false;
    const auto text = with_line(toml, line);
    if (!text) return !line.before.empty();
    const auto after = family::load_family_text(*text);
    const auto changes = family::compare_families(before, after.family);
    return std::any_of(changes.begin(), changes.end(),
                       [](const family::Change& c) { return c.loosens && !c.before.empty(); });
}

Result<std::string> apply(std::string_view toml, const Seen& seen, const Learnt& learnt, const std::set<int>& accepted,
                          const std::string& allowed_by) {
    std::string text(toml);
    if (accepted.empty()) return text;
    bool loosened = false, raised = false;
    const auto put = [&](const Line& l) -> Status {
        auto next = with_line(text, l);
        if (!next) return tl::unexpected<Error>(next.error());
        text = std::move(*next);
        loosened = loosened || l.loosens;
        return {};
    };
    for (const int n : accepted) {
        if (n < 1 || static_cast<std::size_t>(n) > learnt.lines.size()) continue;
        const Line& l = learnt.lines[static_cast<std::size_t>(n) - 1];
        raised = raised || l.key == "family.level";
        if (l.key == "family.level") {
            loosened = true;
            continue;
        }
        if (auto ok = put(l); !ok) return tl::unexpected<Error>(ok.error());
    }
    auto with_run = counted(std::move(text), seen, learnt, loosened ? allowed_by : "");
    if (!with_run) return with_run;
    text = std::move(*with_run);
    if (raised) {  // no higher than what was accepted bears out
        const int level = family::level_of(family::load_family_text(text).family).level;
        auto next = family::set_value(text, {"family", -1, "level", family::toml_text(fmt::format("L{}", level)), ""});
        if (!next) return next;
        text = std::move(*next);
    }
    const family::Loaded loaded = family::load_family_text(text);
    if (!loaded.mistakes.empty()) {
        const family::Finding& m = loaded.mistakes.front();
        return bad_input("learnt-not-usable", m.key, "with the accepted lines the file could not be used: " + m.problem,
                         "accept other lines with them (a state and the end of the run go together)");
    }
    return text;
}

}  // namespace fettle::learn
