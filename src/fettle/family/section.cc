#include "fettle/family/section.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"

namespace fettle::family {
namespace {

// Levenshtein distance over bytes; inputs are keys, so short (longer ones are cut).
std::size_t distance(std::string_view a, std::string_view b) {
    a = a.substr(0, 64);
    b = b.substr(0, 64);
    std::vector<std::size_t> row(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j) row[j] = j;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        std::size_t diagonal = row[0];
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t up = row[j];
            row[j] = std::min({up + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0 : 1)});
            diagonal = up;
        }
    }
    return row[b.size()];
}

bool is_source(const Basis& s) {
    if (s.kind() == Basis::Kind::measured) return s == Basis::measured(s.runs()) && s.runs() < 1'000'000;
    return s == "guess" || s.kind() == Basis::Kind::makers_paper || s.kind() == Basis::Kind::common_practice;
}

}  // namespace

std::string nearest(std::string_view typed, const std::vector<std::string>& known) {
    std::string best;
    std::size_t best_distance = std::max<std::size_t>(2, typed.size() / 3) + 1;
    for (const std::string& k : known) {
        const std::size_t d = distance(typed, k);
        if (d < best_distance && typed.size() > 2 && 2 * d <= typed.size()) {
            best_distance = d;
            best = k;
        }
    }
    return best;
}

int Log::line(std::string_view key) const {
    for (std::string_view k = key; !k.empty();) {
        if (const auto at = lines.find(k); at != lines.end()) return at->second;
        const auto cut = k.find_last_of(".[");
        k = cut == std::string_view::npos ? std::string_view{} : k.substr(0, cut);
    }
    return 1;
}

void Log::mistake(std::string key, std::string problem, std::string next) {
    const int at = line(key);
    mistake_at(at, std::move(key), std::move(problem), std::move(next));
}

void Log::mistake_at(int at, std::string key, std::string problem, std::string next) {
    mistakes.push_back({std::max(at, 1), std::move(key), std::move(problem), std::move(next), false});
}

void Log::unknown(std::string key, std::string problem, std::string waits) {
    const int at = line(key);
    unknowns.push_back({at, std::move(key), std::move(problem), std::move(waits), true});
}

Section::Section(const Node& table, std::string key, Log& log) : table_(table), key_(std::move(key)), log_(log) {
    if (!key_.empty()) log_.lines[key_] = std::max(table.line, 1);
    for (const Node& m : table_.members) log_.lines[at(m.name)] = std::max(m.key_line ? m.key_line : m.line, 1);
}

std::string Section::at(std::string_view key) const {
    return key_.empty() ? std::string(key) : fmt::format("{}.{}", key_, key);
}

const Node* Section::take(std::string_view key, Need need, std::initializer_list<NodeKind> kinds) {
    known_.emplace(key);
    const Node* n = table_.member(key);
    if (!n) {
        if (need == Need::must)
            log_.mistake_at(table_.line, at(key), fmt::format("the key \"{}\" is missing here", key),
                            fmt::format("write {} = …; docs/family-file.md says what it means", key));
        return nullptr;
    }
    if (std::find(kinds.begin(), kinds.end(), n->kind) != kinds.end()) return n;
    log_.mistake(at(key), fmt::format("is {}; {} was expected", words(n->kind), words(*kinds.begin())),
                 "write the value in that form");
    return nullptr;
}

std::string Section::text(std::string_view key, Need need) {
    const Node* n = take(key, need, {NodeKind::text});
    if (!n) return {};
    if (need == Need::must && trim(n->text).empty())
        log_.mistake(at(key), "is empty; a text was expected", "say it in a few words");
    if (n->text.size() > 4096) log_.mistake(at(key), "is longer than 4,096 bytes", "shorten it");
    return n->text;
}

std::string Section::word(std::string_view key, Need need, const std::vector<std::string>& allowed,
                          std::string otherwise) {
    const Node* n = take(key, need, {NodeKind::text});
    if (!n) return otherwise;
    if (std::find(allowed.begin(), allowed.end(), n->text) != allowed.end()) return n->text;
    const std::string near = nearest(n->text, allowed);
    log_.mistake(at(key),
                 fmt::format("is \"{}\"; one of these was expected: {}", printable(n->text), join(allowed, ", ")),
                 near.empty() ? "take one of these words" : fmt::format("\"{}\" may be meant", near));
    return otherwise;
}

std::optional<double> Section::number(std::string_view key, Need need, Range range) {
    const Node* n = take(key, need, {NodeKind::real, NodeKind::integer});
    if (!n) return std::nullopt;
    const bool low_ok = range.low_itself ? n->real >= range.low : n->real > range.low;
    if (std::isfinite(n->real) && low_ok && n->real <= range.high) return n->real;
    std::string expected =
        range.low_itself ? fmt::format("at least {}", range.low) : fmt::format("above {}", range.low);
    if (std::isfinite(range.high)) expected += fmt::format(" and at most {}", range.high);
    log_.mistake(at(key), fmt::format("is {}; a number {} was expected", n->real, expected), "correct the figure");
    return std::nullopt;
}

std::optional<std::int64_t> Section::integer(std::string_view key, Need need, std::int64_t low, std::int64_t high) {
    const Node* n = take(key, need, {NodeKind::integer});
    if (!n) return std::nullopt;
    if (n->integer >= low && n->integer <= high) return n->integer;
    log_.mistake(at(key), fmt::format("is {}; a whole number from {} to {} was expected", n->integer, low, high),
                 "correct the figure");
    return std::nullopt;
}

bool Section::truth(std::string_view key, bool otherwise) {
    const Node* n = take(key, Need::may, {NodeKind::boolean});
    return n ? n->boolean : otherwise;
}

std::string Section::date(std::string_view key, Need need) {
    const Node* n = take(key, need, {NodeKind::date});
    return n ? n->text : std::string{};
}

std::vector<std::string> Section::texts(std::string_view key, Need need) {
    std::vector<std::string> out;
    const Node* n = take(key, need, {NodeKind::array});
    if (!n) return out;
    if (need == Need::must && n->items.empty())
        log_.mistake(at(key), "is empty; at least one text was expected", "name one");
    for (std::size_t i = 0; i < n->items.size(); ++i) {
        const Node& item = n->items[i];
        const std::string item_key = fmt::format("{}[{}]", at(key), i + 1);
        log_.lines[item_key] = std::max(item.line, 1);
        if (item.kind == NodeKind::text)
            out.push_back(item.text);
        else
            log_.mistake(item_key, fmt::format("is {}; a text was expected", words(item.kind)), "put it in quotes");
    }
    return out;
}

void Section::numbers(std::string_view key, Need need,
                      const std::function<void(std::int64_t, const std::string&)>& read) {
    const Node* n = take(key, need, {NodeKind::array});
    if (!n) return;
    for (std::size_t i = 0; i < n->items.size(); ++i) {
        const Node& item = n->items[i];
        const std::string item_key = fmt::format("{}[{}]", at(key), i + 1);
        log_.lines[item_key] = std::max(item.line, 1);
        if (item.kind == NodeKind::integer)
            read(item.integer, item_key);
        else
            log_.mistake(item_key, fmt::format("is {}; a whole number was expected", words(item.kind)),
                         "write the number without quotes");
    }
}

std::vector<double> Section::reals(std::string_view key, Range range) {
    std::vector<double> out;
    const Node* n = take(key, Need::may, {NodeKind::array});
    if (!n) return out;
    for (const Node& item : n->items) {
        const bool number = item.kind == NodeKind::real || item.kind == NodeKind::integer;
        if (number && std::isfinite(item.real) && item.real >= range.low && item.real <= range.high)
            out.push_back(item.real);
        else
            log_.mistake(
                at(key),
                fmt::format("holds {}; numbers from {} to {} were expected", words(item.kind), range.low, range.high),
                "correct the list");
    }
    return out;
}

std::map<std::string, std::string> Section::text_map(std::string_view key, Need need) {
    std::map<std::string, std::string> out;
    table(key, need, [&](Section& s) {
        s.each([&](const std::string& name, const Node& value) {
            if (value.kind == NodeKind::text)
                out[name] = value.text;
            else
                s.log().mistake(s.at(name), fmt::format("is {}; a text was expected", words(value.kind)),
                                "put it in quotes");
        });
    });
    return out;
}

Basis Section::source(std::string_view key, Need need) {
    const Basis s = text(key, need);
    if (!s.empty() && !is_source(s))
        log_.mistake(at(key),
                     fmt::format("is \"{}\"; \"measured N\" (N runs), \"maker's paper\", \"common practice\" or "
                                 "\"guess\" was expected",
                                 printable(s.words())),
                     "say where the figure comes from; a guess is fine when it says so");
    return s;
}

void Section::table(std::string_view key, Need need, const std::function<void(Section&)>& read) {
    const Node* n = take(key, need, {NodeKind::table});
    if (!n) return;
    Section s(*n, at(key), log_);
    read(s);
    s.done();
}

void Section::tables(std::string_view key, Need need, const std::function<void(Section&)>& read) {
    const Node* n = take(key, need, {NodeKind::array});
    if (!n) return;
    if (n->items.size() > 4096) {
        log_.mistake(at(key), fmt::format("has {} entries; at most 4,096 are read", n->items.size()),
                     "check that this is a family file");
        return;
    }
    for (std::size_t i = 0; i < n->items.size(); ++i) {
        const std::string item_key = fmt::format("{}[{}]", at(key), i + 1);
        if (n->items[i].kind != NodeKind::table) {
            log_.mistake_at(n->items[i].line, item_key,
                            fmt::format("is {}; a table was expected", words(n->items[i].kind)),
                            fmt::format("write each one under its own [[{}]]", key));
            continue;
        }
        Section s(n->items[i], item_key, log_);
        read(s);
        s.done();
    }
}

void Section::each(const std::function<void(const std::string&, const Node&)>& read) {
    for (const Node& m : table_.members) {
        known_.insert(m.name);
        read(m.name, m);
    }
}

void Section::not_here(std::string_view key, std::string_view why) {
    known_.emplace(key);
    if (has(key)) log_.mistake(at(key), fmt::format("means nothing here: {}", why), "take the key out");
}

void Section::done() {
    const std::vector<std::string> known(known_.begin(), known_.end());
    for (const Node& m : table_.members) {
        if (known_.contains(m.name)) continue;
        const std::string near = nearest(m.name, known);
        log_.mistake(
            at(m.name), fmt::format("the key \"{}\" is not known here", printable(m.name)),
            near.empty() ? fmt::format("known here: {}", join(known, ", ")) : fmt::format("\"{}\" may be meant", near));
    }
}

}  // namespace fettle::family
