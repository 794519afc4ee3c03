// Rules that each read well but cannot all be kept, or never come to bear: boot rules that can never hold, pair rules
// that no known releases satisfy, a stone that a door before it shuts out.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

std::string key(std::string_view section, std::size_t i, std::string_view member) {
    return fmt::format("{}[{}].{}", section, i + 1, member);
}

// Does the flag ever have this value: as found, or set by an act?
bool comes_to_be(const Family& f, const Flag& flag, const std::string& value) {
    if (flag.start == value) return true;
    return std::any_of(f.script.begin(), f.script.end(), [&](const Act& a) {
        return a.kind == ActKind::set && a.box == flag.box && a.flag == flag.name &&
               (a.value == value || a.value == "other");
    });
}

// Whenever `later` would hold, `earlier` holds too and is tried first.
bool shuts_out(const BootRule& earlier, const BootRule& later) {
    if (earlier.box != later.box) return false;
    const bool same_store = earlier.store == later.store || earlier.needs.empty();
    const bool needs_no_more = std::all_of(earlier.needs.begin(), earlier.needs.end(), [&](const std::string& r) {
        return std::find(later.needs.begin(), later.needs.end(), r) != later.needs.end();
    });
    const bool as_loose = earlier.consistency == "any" || earlier.needs.size() < 2 || later.consistency != "any";
    const bool when = std::all_of(earlier.when.begin(), earlier.when.end(), [&](const auto& w) {
        const auto at = later.when.find(w.first);
        return at != later.when.end() && at->second == w.second;
    });
    return same_store && needs_no_more && as_loose && when;
}

void check_boot_rules(const Family& f, Log& log) {
    for (std::size_t i = 0; i < f.boot.size(); ++i) {
        const BootRule& b = f.boot[i];
        for (const auto& [name, value] : b.when) {
            const auto flag = std::find_if(f.flags.begin(), f.flags.end(),
                                           [&](const Flag& g) { return g.box == b.box && g.name == name; });
            if (flag == f.flags.end() || f.script.empty()) continue;  // named already; or the script is not known
            const bool known = std::find(flag->values.begin(), flag->values.end(), value) != flag->values.end();
            if (known && !comes_to_be(f, *flag, value))
                log.mistake(key("boot", i, "when") + "." + name,
                            fmt::format("this rule can never hold: flag \"{}\" begins as \"{}\", and no act sets it to "
                                        "\"{}\"",
                                        name, flag->start, value),
                            "add the act that sets it, or correct the value");
        }
        for (std::size_t k = 0; k < i; ++k) {
            if (b.net || !shuts_out(f.boot[k], b)) continue;  // a rule of the net counts also when it is not taken
            log.mistake(key("boot", i, "needs"),
                        fmt::format("this rule can never be taken: rule {}, tried before it, holds whenever this one "
                                    "does",
                                    k + 1),
                        "put the stricter rule first, or take one out");
            break;
        }
    }
}

// True, too, when a side cannot be read: then nothing stands against it.
bool holds(const Family& f, const PairSides& p, const std::string& left, const std::string& right) {
    const auto a = version_number(f.order, left, p.left.field);
    const auto b = version_number(f.order, right, p.right.field);
    if (!a || !b) return true;
    return p.op == "==" ? *a == *b : p.op == "<=" ? *a <= *b : *a >= *b;
}

// Two known releases, one for each side (the same one if both sides are one box), that all these rules allow.
void check_pairs(const Family& f, Log& log) {
    if (f.known.empty()) return;
    for (std::size_t last = 0; last < f.pairs.size(); ++last) {
        const auto newest = parse_pair(f.pairs[last].text);
        if (!newest) continue;            // named already
        std::vector<PairSides> together;  // of the same two boxes and the same time, up to this one
        for (std::size_t i = 0; i <= last; ++i) {
            auto p = parse_pair(f.pairs[i].text);
            if (!p || f.pairs[i].when != f.pairs[last].when) continue;
            if (p->left.role == newest->right.role && p->right.role == newest->left.role &&
                p->left.role != p->right.role) {
                std::swap(p->left, p->right);
                p->op = p->op == "<=" ? ">=" : p->op == ">=" ? "<=" : "==";
            }
            if (p->left.role == newest->left.role && p->right.role == newest->right.role) together.push_back(*p);
        }
        const bool one_box = newest->left.role == newest->right.role;
        bool any = false;
        for (const KnownRelease& a : f.known)
            for (const KnownRelease& b : f.known)
                any = any || ((!one_box || a.release == b.release) &&
                              std::all_of(together.begin(), together.end(),
                                          [&](const PairSides& p) { return holds(f, p, a.release, b.release); }));
        if (any) continue;
        log.mistake(key("pair", last, "rule"),
                    together.size() == 1
                        ? fmt::format("no two of the known releases satisfy \"{}\"", printable(f.pairs[last].text))
                        : fmt::format("together with the pair rules before it, no two of the known releases satisfy "
                                      "\"{}\"",
                                      printable(f.pairs[last].text)),
                    "correct the rule, or add the [[release]] that satisfies it");
        return;
    }
}

}  // namespace

void check_rules(const Family& f, Log& log) {
    check_boot_rules(f, log);
    check_pairs(f, log);
}

}  // namespace fettle::family
