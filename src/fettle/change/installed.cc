// Installed lists: inferred from an index, typed by hand, and as they stand after a step.
#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/change/change.h"
#include "fettle/change/counters.h"
#include "fettle/change/list_text.h"

namespace fettle::change {
namespace {

std::string sole_sha256(const family::Piece& p) {
    if (p.files.size() != 1) return {};  // a piece of several files has no single digest that a box could show
    const auto d = p.files.front().digests.find("sha256");
    return d == p.files.front().digests.end() ? std::string() : d->second;
}

bool is_sha256(std::string_view s) {
    return s.size() == 64 && s.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

}  // namespace

const Installed* InstalledList::find(std::string_view box, std::string_view name) const {
    const auto at =
        std::find_if(pieces.begin(), pieces.end(), [&](const Installed& p) { return p.box == box && p.name == name; });
    return at == pieces.end() ? nullptr : &*at;
}

InstalledList infer(const family::Release& shown, const SetState& set) {
    InstalledList list;
    list.origin = Origin::inferred;
    list.inferred_from = shown.release;
    for (const auto& p : shown.pieces) {
        if (set.count(p.box) == 0 || applies(p, set) == Truth::no) continue;
        list.pieces.push_back({p.box, p.name, p.version, sole_sha256(p)});
    }
    return list;
}

InstalledList after(const ChangeSheet& sheet, const family::Release& release, const InstalledList& as_found) {
    InstalledList list;
    list.origin = as_found.origin;
    list.inferred_from = as_found.origin == Origin::inferred ? release.release : std::string();
    for (const auto& line : sheet.lines) {
        const bool written = line.action == Action::add || line.action == Action::replace;
        const auto* piece = release.piece(line.box, line.name);
        const auto* old = as_found.find(line.box, line.name);
        if (written && piece != nullptr) {
            list.pieces.push_back({line.box, line.name, piece->version, sole_sha256(*piece)});
        } else if (old != nullptr) {
            list.pieces.push_back(*old);
        }
    }
    return list;
}

SetState set_after(const family::Family& family, const SetState& set, const family::Release& release) {
    SetState next = set;
    for (auto& [role, box] : next) {
        const bool writes = std::any_of(release.pieces.begin(), release.pieces.end(),
                                        [&r = role](const family::Piece& p) { return p.box == r; });
        if (!writes) continue;
        const Counter has = counter_after(counter_in(family, box), counter_left(family, release));
        box.release = release.release;
        box.counter = has.known() ? std::optional(has.low) : std::nullopt;
        box.counter_at_least = has.known() || has.low == Counter::lowest ? std::nullopt : std::optional(has.low);
    }
    return next;
}

Result<InstalledList> parse_installed(std::string_view text, std::string_view place) {
    InstalledList list;
    list.origin = Origin::typed;
    const auto lines = list_text(text);
    if (lines.unreadable) {
        return bad_input("as-found-encoding", fmt::format("{}, line {}", place, *lines.unreadable), lines.problem,
                         "save the list as plain UTF-8 text");
    }
    if (lines.too_many) {
        return bad_input("as-found-long", fmt::format("{}, line {}", place, *lines.too_many), lines.problem,
                         "check that this is the right file");
    }
    std::map<std::pair<std::string, std::string>, int> line_of;
    for (const auto& [number, w] : lines.lines) {
        const auto here = fmt::format("{}, line {}", place, number);
        const char* next = "write one line a piece: box name version [sha256]";
        if (w.size() < 3 || w.size() > 4) {
            return bad_input("as-found-line", here, fmt::format("{} words found, three or four expected", w.size()),
                             next);
        }
        if (w.size() == 4 && !is_sha256(w[3])) {
            return bad_input("as-found-digest", here,
                             fmt::format("\"{}\" is no SHA-256 (64 lower-case hex digits)", printable(w[3])), next);
        }
        const auto [before, first] = line_of.insert({{w[0], w[1]}, number});
        if (!first) {
            return bad_input("as-found-twice", here,
                             fmt::format("piece {} of the {} box was named before, on line {}", printable(w[1]),
                                         printable(w[0]), before->second),
                             "take one of the two lines out; look at the box again if they differ");
        }
        list.pieces.push_back({w[0], w[1], w[2], w.size() == 4 ? w[3] : std::string()});
    }
    if (list.pieces.empty()) {
        return bad_input("as-found-empty", std::string(place), "no piece is named in it",
                         "write one line a piece (box name version), or leave the list out: it is then inferred");
    }
    return list;
}

}  // namespace fettle::change
