#include "fettle/plan/found.h"

#include <fmt/format.h>

#include <algorithm>

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
