// Reading one table of a family file: every key that is asked for is known; each wrong type, missing key or figure out
// of range becomes a finding at its line and dotted key; what was never asked for is an unknown key. Internal to
// family/.
#pragma once

#include <functional>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"
#include "fettle/family/toml_tree.h"

namespace fettle::family {

// The findings of one file, and at which line each dotted key stands, so that later checks on values can name it.
struct Log {
    std::vector<Finding> mistakes;
    std::vector<Finding> unknowns;
    std::map<std::string, int, std::less<>> lines;

    int line(std::string_view key) const;  // of the key, else of the nearest table above it, else 1
    void mistake(std::string key, std::string problem, std::string next);
    void mistake_at(int line, std::string key, std::string problem, std::string next);
    void unknown(std::string key, std::string problem, std::string waits);
};

// Values of all numbers: what is out of [low, high] is a mistake.
struct Range {
    double low = -std::numeric_limits<double>::infinity();
    double high = std::numeric_limits<double>::infinity();
    bool low_itself = true;  // false: must be above low
};
inline constexpr Range at_least_0{0, std::numeric_limits<double>::infinity(), true};
inline constexpr Range above_0{0, std::numeric_limits<double>::infinity(), false};

enum class Need { must, may };

class Section {
public:
    Section(const Node& table, std::string key, Log& log);

    bool has(std::string_view key) const { return table_.member(key) != nullptr; }
    const std::string& key() const { return key_; }
    std::string at(std::string_view key) const;  // dotted key of a member

    std::string text(std::string_view key, Need need);
    // One of the words; another is a mistake and gives the fallback.
    std::string word(std::string_view key, Need need, const std::vector<std::string>& allowed,
                     std::string otherwise = {});
    std::optional<double> number(std::string_view key, Need need, Range range);
    std::optional<std::int64_t> integer(std::string_view key, Need need, std::int64_t low, std::int64_t high);
    bool truth(std::string_view key, bool otherwise = false);
    std::string date(std::string_view key, Need need);
    std::vector<std::string> texts(std::string_view key, Need need);
    // read(value, dotted key of the item) for each whole number of a list.
    void numbers(std::string_view key, Need need, const std::function<void(std::int64_t, const std::string&)>& read);
    std::vector<double> reals(std::string_view key, Range range);  // a list that may be left out
    std::map<std::string, std::string> text_map(std::string_view key, Need need);
    Basis source(std::string_view key, Need need);  // "measured N", "maker's paper", "common practice", "guess"

    // Sub-tables: read() runs once for a table, once per item of a list of tables. A missing `must` is a mistake.
    void table(std::string_view key, Need need, const std::function<void(Section&)>& read);
    void tables(std::string_view key, Need need, const std::function<void(Section&)>& read);
    // Members whose names the file chooses.
    void each(const std::function<void(const std::string& name, const Node& value)>& read);

    // A key that is known but means nothing here: a mistake if it stands.
    void not_here(std::string_view key, std::string_view why);

    // Reports members nobody asked for, with the nearest known key.
    void done();

    Log& log() { return log_; }

private:
    const Node* take(std::string_view key, Need need, std::initializer_list<NodeKind> kinds);

    const Node& table_;
    std::string key_;
    Log& log_;
    std::set<std::string, std::less<>> known_;
};

// The known word nearest to one that was typed, empty when none is near.
std::string nearest(std::string_view typed, const std::vector<std::string>& known);

}  // namespace fettle::family
