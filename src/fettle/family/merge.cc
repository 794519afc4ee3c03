#include "fettle/family/merge.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <optional>

#include "fettle/base/text.h"
#include "fettle/family/compare.h"
#include "fettle/family/signed.h"
#include "fettle/family/toml_tree.h"

namespace fettle::family {
namespace {

struct Entry {
    std::string name;              // "act recovery"
    std::size_t from = 0, to = 0;  // lines, from 0; to is behind the last. Equal: not in one piece
    std::vector<std::string> lines;
};

bool is_remark(std::string_view line) {
    const std::string_view t = trim(line);
    return t.empty() || t.front() == '#';
}

// What an entry of a list is known by; the whole list is one entry where the order says something.
std::string name_of(const Node& item, const std::string& section) {
    static const std::map<std::string, std::vector<const char*>> by = {
        {"act", {"id"}},           {"hold", {"id"}},
        {"release", {"release"}},  {"pair", {"rule", "when"}},
        {"box", {"role"}},         {"region", {"box", "name"}},
        {"flag", {"box", "name"}}, {"message", {"text"}},
        {"link", {"role"}},        {"fault", {"code", "explained_by", "ask"}},
        {"screen", {"box"}},       {"mend", {"kind"}},
        {"try", {"words"}},        {"watched", {"run"}}};
    std::string out = section;
    const auto keys = by.find(section);
    if (keys == by.end()) return out;
    for (const char* key : keys->second)
        if (const Node* n = item.member(key)) out += " " + n->text;
    return out;
}

class File {
public:
    explicit File(std::string_view text) : lines_(lines_of(text)) {
        const auto tree = parse_toml(text);
        if (!tree) return;
        for (const Node& m : tree->members) {
            if (m.kind == NodeKind::array) {
                for (const Node& item : m.items) begin(name_of(item, m.name), item.line);
            } else {
                begin(m.name, m.line);
            }
        }
        // An entry reaches to the next one, without the remarks that stand above that.
        std::sort(starts_.begin(), starts_.end());
        for (std::size_t i = 0; i < starts_.size(); ++i) {
            std::size_t to = i + 1 < starts_.size() ? starts_[i + 1].first : lines_.size();
            while (to > starts_[i].first + 1 && is_remark(lines_[to - 1])) --to;
            add(starts_[i].second, starts_[i].first, to);
        }
    }

    const Entry* find(const std::string& name) const {
        const auto at = std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.name == name; });
        return at == entries_.end() ? nullptr : &*at;
    }
    const std::vector<Entry>& entries() const { return entries_; }
    const std::vector<std::string>& lines() const { return lines_; }

    std::vector<std::string> acts() const {
        std::vector<std::string> out;
        for (const Entry& e : entries_)
            if (e.name.starts_with("act ")) out.push_back(e.name);
        return out;
    }

private:
    void begin(std::string name, int line) {
        const std::size_t at = line > 0 ? static_cast<std::size_t>(line) - 1 : 0;
        // A section that is not written under a head of its own cannot be told from its neighbours.
        const bool headed = at < lines_.size() && trim(lines_[at]).starts_with('[');
        if (headed)
            starts_.emplace_back(at, std::move(name));
        else
            entries_.push_back({std::move(name), 0, 0, {}});
    }

    void add(const std::string& name, std::size_t from, std::size_t to) {
        const std::vector<std::string> text(lines_.begin() + static_cast<std::ptrdiff_t>(from),
                                            lines_.begin() + static_cast<std::ptrdiff_t>(to));
        const auto at = std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) { return e.name == name; });
        if (at == entries_.end()) {
            entries_.push_back({name, from, to, text});
            return;
        }
        // The next of a list that is one entry: it goes on where nothing but remarks lies between.
        bool joined = at->to > at->from;
        for (std::size_t i = at->to; i < from; ++i) joined = joined && is_remark(lines_[i]);
        at->lines.insert(at->lines.end(), text.begin(), text.end());
        if (joined)
            at->to = to;
        else
            at->from = at->to = 0;
    }

    std::vector<std::string> lines_;
    std::vector<std::pair<std::size_t, std::string>> starts_;
    std::vector<Entry> entries_;
};

std::string text_of(const std::vector<std::string>& lines) {
    std::string out;
    for (const std::string& l : lines) out += l + "\n";
    return out;
}

// One entry exchanged, put at the end, or taken out; nullopt: it has no place of its own.
std::optional<std::string> with_entry(const File& in_use, const Entry* here, const Entry* there) {
    if ((here && here->to <= here->from) || (there && there->lines.empty())) return std::nullopt;
    std::vector<std::string> lines = in_use.lines();
    if (here) {
        const auto begin = lines.begin() + static_cast<std::ptrdiff_t>(here->from);
        lines.erase(begin, lines.begin() + static_cast<std::ptrdiff_t>(here->to));
    }
    if (there) {
        auto at = lines.end();
        if (here) {
            at = lines.begin() + static_cast<std::ptrdiff_t>(here->from);
        } else {
            lines.emplace_back();
            at = lines.end();
        }
        lines.insert(at, there->lines.begin(), there->lines.end());
    }
    return text_of(lines);
}

// Lines that say something and stand in `a` but not in `b`.
std::vector<std::string> only_in(const Entry* a, const Entry* b) {
    std::vector<std::string> out;
    if (!a) return out;
    for (const std::string& line : a->lines) {
        if (is_remark(line)) continue;
        const auto same = [&](const std::string& other) { return trim(other) == trim(line); };
        if (!b || std::none_of(b->lines.begin(), b->lines.end(), same)) out.emplace_back(trim(line));
    }
    return out;
}

void judge(const Family& before, const std::optional<std::string>& candidate, Difference& d) {
    d.kind = Difference::Kind::by_hand;
    if (!candidate) {
        d.why = "it does not stand in one piece of its own";
        return;
    }
    const Loaded after = load_family_text(*candidate);
    if (!after.mistakes.empty()) {
        d.why = fmt::format("taken alone, {} {}", after.mistakes.front().key, after.mistakes.front().problem);
        return;
    }
    const auto changes = compare_families(before, after.family);
    const bool loosens = std::any_of(changes.begin(), changes.end(), [](const Change& c) { return c.loosens; });
    d.kind = loosens ? Difference::Kind::loosens : Difference::Kind::tightens;
}

struct Pair {
    const Entry* here = nullptr;
    const Entry* there = nullptr;
};

std::vector<std::pair<std::string, Pair>> pairs_of(const File& in_use, const File& offered) {
    std::vector<std::pair<std::string, Pair>> out;
    for (const Entry& e : in_use.entries()) out.push_back({e.name, {&e, offered.find(e.name)}});
    for (const Entry& e : offered.entries())
        if (!in_use.find(e.name)) out.push_back({e.name, {nullptr, &e}});
    return out;
}

// Does it change anything? A section that is only written in another order does not.
bool differs(const Family& before, const std::optional<std::string>& candidate) {
    if (!candidate) return true;
    const Loaded after = load_family_text(*candidate);
    return !after.mistakes.empty() || !compare_families(before, after.family).empty();
}

std::vector<std::pair<Difference, Pair>> all_of(const File& in_use, const File& offered, const Family& before,
                                                const Family& after) {
    std::vector<std::pair<Difference, Pair>> out;
    const bool all_same = compare_families(before, after).empty();
    const bool same_acts = in_use.acts() == offered.acts();
    for (const auto& [name, pair] : pairs_of(in_use, offered)) {
        Difference d;
        d.entry = name;
        d.here = only_in(pair.here, pair.there);
        d.there = only_in(pair.there, pair.here);
        const auto unheaded = [](const Entry* e) { return e && e->lines.empty(); };
        if (unheaded(pair.here) || unheaded(pair.there)) {  // its lines cannot be told from its neighbours'
            if (all_same) continue;
            for (auto& [side, entry] : {std::pair{&d.here, pair.here}, {&d.there, pair.there}})
                if (unheaded(entry)) *side = {"(there, but not in a section of its own)"};
            d.kind = Difference::Kind::by_hand;
            d.why = "it does not stand in one piece of its own";
            out.emplace_back(std::move(d), pair);
            continue;
        }
        if (d.here.empty() && d.there.empty()) continue;
        const auto candidate = with_entry(in_use, pair.here, pair.there);
        if (!differs(before, candidate)) continue;
        judge(before, candidate, d);
        if (name.starts_with("act ") && !same_acts && (!pair.here || !pair.there)) {
            d.kind = Difference::Kind::by_hand;
            d.why = "the two scripts have other states, or another order";
        }
        out.emplace_back(std::move(d), pair);
    }
    return out;
}

}  // namespace

std::vector<Difference> differences(std::string_view in_use, std::string_view offered) {
    const File here(without_signature(in_use)), there(without_signature(offered));
    std::vector<Difference> out;
    for (auto& [d, pair] : all_of(here, there, load_family_text(in_use).family, load_family_text(offered).family))
        out.push_back(std::move(d));
    return out;
}

Result<std::string> merged(std::string_view in_use, std::string_view offered, const std::set<std::size_t>& taken) {
    const File there(without_signature(offered));
    std::string text(without_signature(in_use));
    std::vector<std::string> names;
    {
        const File here(text);
        const auto all = all_of(here, there, load_family_text(in_use).family, load_family_text(offered).family);
        for (const std::size_t n : taken)
            if (n < all.size() && all[n].first.kind != Difference::Kind::by_hand) names.push_back(all[n].first.entry);
    }
    for (const std::string& name : names) {
        const File now(text);
        const auto next = with_entry(now, now.find(name), there.find(name));
        if (!next)
            return bad_input("merge-not-usable", name, "has no place of its own in the file", "change it by hand");
        text = *next;
    }
    const Loaded loaded = load_family_text(text);
    if (!loaded.mistakes.empty())
        return bad_input("merge-not-usable", loaded.mistakes.front().key,
                         "together the accepted entries could not be used: " + loaded.mistakes.front().problem,
                         "accept the entries that go together, or change the file by hand");
    return text;
}

}  // namespace fettle::family
