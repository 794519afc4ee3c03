#include "fettle/plan/found.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/route/route.h"

namespace fettle::plan {

std::optional<std::string> release_by_list(const std::vector<family::Release>& shelf,
                                           const change::InstalledList& found, const change::SetState& set,
                                           const std::string& role) {
    std::optional<std::string> only;
    for (const auto& r : shelf) {
        bool any = false, all = true;
        for (const auto& p : r.pieces) {
            if (p.box != role || change::applies(p, set) != change::Truth::yes) continue;
            const auto* here = found.find(p.box, p.name);
            any = true;
            all = all && here != nullptr && here->version == p.version;
        }
        if (!any || !all) continue;
        const auto shown = set.find(role);
        if (shown != set.end() && shown->second.release == r.release) return r.release;
        if (only && *only != r.release) return std::nullopt;
        only = r.release;
    }
    return only;
}

namespace {

const family::Piece* piece_of(const family::Release& r, const Installed& p) {
    const auto at = std::find_if(r.pieces.begin(), r.pieces.end(),
                                 [&](const family::Piece& q) { return q.box == p.box && q.name == p.name; });
    return at == r.pieces.end() ? nullptr : &*at;
}

bool has(const family::Release& r, const Installed& p) {
    const auto* q = piece_of(r, p);
    return q != nullptr && q->version == p.version;
}

}  // namespace

std::optional<HalfDone> half_done(const std::vector<family::Release>& shelf, const change::InstalledList& found,
                                  const change::SetState& set) {
    if (found.origin == Origin::inferred || found.origin == Origin::not_read) return std::nullopt;
    // A box that is wholly of another release than its view says is another matter.
    std::set<std::string> whole;
    for (const auto& [role, box] : set) {
        const auto listed = release_by_list(shelf, found, set, role);
        if (listed && *listed != box.release) whole.insert(role);
    }
    const auto of_box = [&](const Installed& p) -> const family::Release* {
        const auto box = set.find(p.box);
        if (box == set.end() || whole.contains(p.box)) return nullptr;
        const auto at = std::find_if(shelf.begin(), shelf.end(),
                                     [&](const family::Release& r) { return r.release == box->second.release; });
        return at == shelf.end() ? nullptr : &*at;
    };
    HalfDone out;
    std::vector<const Installed*> others;
    for (const Installed& p : found.pieces) {
        const auto* view = of_box(p);
        if (view == nullptr) continue;
        ++out.total;
        out.view = view->release;
        if (has(*view, p))
            ++out.of_view;
        else
            others.push_back(&p);
    }
    for (const auto& r : shelf) {
        const auto n = static_cast<int>(
            std::count_if(others.begin(), others.end(), [&](const Installed* p) { return has(r, *p); }));
        if (n > out.of_other) out.of_other = n, out.other = r.release;
    }
    // All of them: then the view is wrong, and is told as that.
    if (out.of_other == 0 || out.of_view == 0) return std::nullopt;
    return out;
}

Judgement judge_found(const family::Family& family, const std::vector<family::Release>& shelf,
                      const change::InstalledList& found, const change::SetState& set) {
    Judgement out;
    change::SetState stands = set;
    std::vector<std::string> each;
    for (auto& [role, box] : stands) {
        const auto listed = found.origin == Origin::inferred ? std::nullopt : release_by_list(shelf, found, set, role);
        if (listed && !box.release.empty() && *listed != box.release)
            out.add(
                {"found-another-release", Verdict::cant_say,
                 fmt::format("the list of the {} box is that of {}, piece by piece, and its view says {}: one of the "
                             "two is wrong, and no way can be trusted before that is known",
                             role, *listed, box.release),
                 "as found", std::string(words(found.origin)), "read the view and the list again"});
        box.release = listed.value_or(box.release);
        each.push_back(fmt::format("{} at {}", role, box.release.empty() ? "a release not known" : box.release));
    }
    if (const auto half = half_done(shelf, found, set))
        out.add({"found-half-done", Verdict::cant_say,
                 fmt::format("{} of {} pieces on the list are those of {}, {} those of {}{}: an update was begun "
                             "elsewhere, and has not come to its end; this plan starts from the list",
                             half->of_other, half->total, half->other, half->of_view, half->view,
                             half->of_neither() > 0 ? fmt::format(", {} of neither", half->of_neither()) : ""),
                 "as found", std::string(words(found.origin)),
                 "before anything else see what it does, fed and without a card: does it start as usual?"});
    for (const auto& rule : family.pairs) {
        if (rule.when != "at rest" || route::pair_holds(family, rule, stands).value_or(true)) continue;
        out.add({"found-mixed", Verdict::cant_say,
                 fmt::format("as found, the boxes do not go together: {}, and {} does not hold; what came before is "
                             "not known",
                             join(each, ", "), rule.text),
                 "as found", std::string(words(found.origin)),
                 "look at the view of each box, and ask what was changed"});
    }
    return out;
}

}  // namespace fettle::plan
