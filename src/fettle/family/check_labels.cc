// What the labels of a family must keep: usable patterns, examples that prove them, boxes that cannot be confused.
#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/family/label.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

std::string item(const std::string& key, std::size_t i) {
    return fmt::format("{}[{}]", key, i + 1);
}

void check_values(const LabelRule& rule, const LabelMatcher& m, const std::string& key, Log& log) {
    for (const auto& [field, values] : rule.values) {
        const std::string* part = m.pattern().field_pattern(field);
        const std::string at = key + ".values." + field;
        if (!part) {
            const std::string near = nearest(field, m.pattern().fields());
            log.mistake(at, fmt::format("the pattern has no field \"{}\"", printable(field)),
                        near.empty() ? "name a group of the pattern" : fmt::format("\"{}\" may be meant", near));
            continue;
        }
        LabelRule alone;
        alone.pattern = *part;
        const auto part_matcher = LabelMatcher::make(alone);
        if (!part_matcher) continue;  // named already with the whole pattern
        for (const auto& [value, meaning] : values) {
            if (!part_matcher->accepts(value))
                log.mistake(at + "." + value,
                            fmt::format("\"{}\" can never be read: the field takes {}", printable(value), *part),
                            "correct the value or the pattern");
            if (trim(meaning).empty())
                log.mistake(at + "." + value, "has no meaning in words", "say what the value stands for");
        }
    }
    for (std::size_t i = 0; i < rule.likely.size(); ++i)
        if (!m.pattern().field_pattern(rule.likely[i]))
            log.mistake(item(key + ".likely", i),
                        fmt::format("the pattern has no field \"{}\"", printable(rule.likely[i])),
                        "name a group of the pattern");
}

std::string why_refused(const LabelMatcher& m, const std::string& text) {
    const auto fields = m.fields(text);
    if (!fields) {
        Pattern::States at = m.pattern().start();
        for (std::size_t i = 0; i < text.size(); ++i) {
            auto next = m.pattern().step(at, text[i]);
            if (next.empty()) {
                const CharSet could = m.pattern().next(at);
                return fmt::format("character {} is \"{}\" where {} was expected", i + 1, printable(text.substr(i, 1)),
                                   could.none() ? "the end" : words(could));
            }
            at = std::move(next);
        }
        return "it ends where " + words(m.pattern().next(at)) + " was expected";
    }
    const auto expected = m.expected_check(*fields);
    if (!expected) return "its check character cannot be computed: it covers something else than digits";
    return fmt::format("its check character must be {}", *expected);
}

void check_examples(const LabelRule& rule, const LabelMatcher& m, const std::string& key, Log& log) {
    for (std::size_t i = 0; i < rule.examples.size(); ++i)
        if (!m.accepts(rule.examples[i]))
            log.mistake(item(key + ".examples", i),
                        fmt::format("\"{}\" is not accepted: {}", printable(rule.examples[i]),
                                    why_refused(m, rule.examples[i])),
                        "correct the example or the pattern");
    for (std::size_t i = 0; i < rule.counter_examples.size(); ++i)
        if (m.accepts(rule.counter_examples[i]))
            log.mistake(item(key + ".counter_examples", i),
                        fmt::format("\"{}\" is accepted, and should not be", printable(rule.counter_examples[i])),
                        "correct the counter-example, or make the pattern narrower");
}

std::optional<LabelMatcher> check_rule(const LabelRule& rule, const std::string& key, Log& log) {
    if (rule.pattern.empty()) return std::nullopt;  // named already as missing or empty
    const auto pattern = Pattern::compile(rule.pattern);
    if (pattern && rule.check) {
        bool all = true;
        std::vector<std::string> wanted = rule.check->over;
        wanted.emplace_back("check");
        for (std::size_t i = 0; i < wanted.size(); ++i) {
            if (pattern->field_pattern(wanted[i])) continue;
            all = false;
            const std::string near = nearest(wanted[i], pattern->fields());
            log.mistake(i + 1 == wanted.size() ? key + ".check" : item(key + ".check.over", i),
                        fmt::format("the pattern has no field \"{}\"", printable(wanted[i])),
                        near.empty() ? fmt::format("name the group (?P<{}>…)", printable(wanted[i]))
                                     : fmt::format("\"{}\" may be meant", near));
        }
        if (!all) return std::nullopt;
    }
    auto m = LabelMatcher::make(rule);
    if (!m) {
        const Error& e = m.error();
        log.mistake(key + ".pattern", (e.place.empty() ? "" : e.place.words() + ": ") + e.problem, e.next.words());
        return std::nullopt;
    }
    check_values(rule, *m, key, log);
    check_examples(rule, *m, key, log);
    return std::move(*m);
}

bool is_id(std::string_view s) {
    return !s.empty() && s.size() <= 40 && s[0] != '-' && s.back() != '-' &&
           s.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") == std::string_view::npos;
}

// "display.line == main.line"
void check_pair(const Family& f, std::size_t i, Log& log) {
    const std::string& text = f.pairs[i].text;
    const std::string key = item("pair", i) + ".rule";
    if (text.empty()) return;
    const auto rule = parse_pair(text);
    if (!rule)
        return log.mistake(key,
                           fmt::format("is \"{}\"; <role>.<field> == <role>.<field> was expected", printable(text)),
                           "write for example display.line == main.line; the operator is ==, <= or >=");
    for (const auto* side : {&rule->left, &rule->right}) {
        if (!f.box(side->role))
            log.mistake(key, fmt::format("names the role \"{}\"; the boxes are {}", side->role, roles_of(f)),
                        "name one of these boxes");
        if (std::find(f.order.fields.begin(), f.order.fields.end(), side->field) == f.order.fields.end())
            log.mistake(key,
                        fmt::format("names the field \"{}\" of the version; family.version_order.fields has {}",
                                    side->field, f.order.fields.empty() ? "none" : join(f.order.fields, ", ")),
                        "name the dotted numbers in family.version_order.fields");
    }
}

// Whoever writes a box is written itself, in the end by its own medium.
void check_writers(const Family& f, Log& log) {
    for (std::size_t i = 0; i < f.boxes.size(); ++i) {
        const Box* at = &f.boxes[i];
        std::vector<std::string> seen;
        while (at != nullptr && std::find(seen.begin(), seen.end(), at->role) == seen.end()) {
            seen.push_back(at->role);
            at = f.box(at->written_by);
        }
        if (at == nullptr || seen.size() < 2) continue;  // it ends; or the box would write itself: named already
        log.mistake(item("box", i) + ".written_by",
                    fmt::format("these boxes write each other ({}), and none reads a medium", join(seen, ", ")),
                    "write \"own medium\" for the one that does");
        return;
    }
}

// The power-cut map lets each supply be cut by itself.
void check_supplies(const Family& f, Log& log) {
    std::set<std::string> named;
    for (const Box& b : f.boxes) named.insert(b.supply);
    for (std::size_t i = 0; i < f.boxes.size(); ++i)
        if (named.size() > 1 && f.boxes[i].supply.empty())
            log.mistake(item("box", i) + ".supply", "names no supply, and another box does",
                        "name the supply of every box, or of none if one feeds them all");
    if (named.size() > 3)
        log.mistake(item("box", f.boxes.size() - 1) + ".supply",
                    fmt::format("is one of {} supplies; up to three can be counted with", named.size()),
                    "give boxes that are fed together one name");
}

}  // namespace

std::optional<PairSides> parse_pair(std::string_view text) {
    std::vector<std::string> words;
    for (const std::string& w : split(text, ' '))
        if (!w.empty()) words.push_back(w);
    if (words.size() != 3 || (words[1] != "==" && words[1] != "<=" && words[1] != ">=")) return std::nullopt;
    PairSides out;
    out.op = words[1];
    const auto side = [](const std::string& w, PairSides::Side& s) {
        const auto dot = w.find('.');
        if (dot == std::string::npos || dot == 0 || dot + 1 == w.size() || w.find('.', dot + 1) != std::string::npos)
            return false;
        s = {w.substr(0, dot), w.substr(dot + 1)};
        return true;
    };
    if (!side(words[0], out.left) || !side(words[2], out.right)) return std::nullopt;
    return out;
}

void check_unique(Log& log, std::string_view section, std::string_view key, const std::vector<std::string>& names,
                  std::string_view what) {
    std::set<std::string> seen;
    for (std::size_t i = 0; i < names.size(); ++i)
        if (!names[i].empty() && !seen.insert(names[i]).second)
            log.mistake(fmt::format("{}[{}].{}", section, i + 1, key),
                        fmt::format("{} \"{}\" stands twice", what, printable(names[i])),
                        "rename one, or take one out");
}

void check_labels(const Family& f, Log& log) {
    if (!f.id.empty() && !is_id(f.id))
        log.mistake("family.id", fmt::format("is \"{}\"; small letters, digits and - were expected", printable(f.id)),
                    "it becomes part of file names: keep it short and plain");
    if (f.boxes.empty() && log.lines.contains("box"))
        log.mistake("box", "names no box", "write one [[box]] for each labelled housing");
    std::vector<std::string> roles;
    for (const Box& b : f.boxes) roles.push_back(b.role);
    check_unique(log, "box", "role", roles, "the role");

    std::vector<std::optional<LabelMatcher>> matchers;
    for (std::size_t i = 0; i < f.boxes.size(); ++i) {
        const Box& b = f.boxes[i];
        matchers.push_back(check_rule(b.plate, item("box", i) + ".plate", log));
        if (b.role == "all")
            log.mistake(item("box", i) + ".role", "\"all\" stands for every box in a restart", "take another word");
        if (!b.written_by.empty() && b.written_by != "own medium" && !f.box(b.written_by))
            log.mistake(item("box", i) + ".written_by",
                        fmt::format("is \"{}\"; \"own medium\" or a role was expected ({})", printable(b.written_by),
                                    roles_of(f)),
                        "name the box that writes this one");
        if (b.written_by == b.role && !b.role.empty())
            log.mistake(item("box", i) + ".written_by", "the box would write itself", "write \"own medium\"");
    }
    check_supplies(f, log);
    check_writers(f, log);
    for (std::size_t i = 0; i < f.boxes.size(); ++i)
        for (std::size_t j = 0; j < f.boxes.size(); ++j)
            for (std::size_t k = 0; i != j && matchers[j] && k < f.boxes[i].plate.examples.size(); ++k)
                if (matchers[j]->accepts(f.boxes[i].plate.examples[k]))
                    log.mistake(item(item("box", i) + ".plate.examples", k),
                                fmt::format("\"{}\" is also a plate of the {} box: nobody could tell them apart",
                                            printable(f.boxes[i].plate.examples[k]), f.boxes[j].role),
                                "make the patterns of the two boxes exclude each other");
    for (std::size_t i = 0; i < f.pairs.size(); ++i) check_pair(f, i, log);

    if (!log.lines.contains("view")) return;
    if (const auto m = check_rule(f.view, "view", log); m && !m->pattern().field_pattern("release"))
        log.mistake("view.pattern", "has no field \"release\"", "name the group that holds it (?P<release>…)");
}

}  // namespace fettle::family
