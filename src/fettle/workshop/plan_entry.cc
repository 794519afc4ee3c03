#include "fettle/workshop/plan_entry.h"

#include "fettle/base/json.h"
#include "fettle/plan/json_parts.h"

namespace fettle::workshop {

NewEntry planned_entry(const plan::Plan& p, int cuts, Feeding fed,
                       const std::optional<change::OfferedAnswer>& offered) {
    json::array route;
    for (const auto& s : p.steps) {
        const auto& t = s.sheet.tally;
        route.push_back(json::object{{"release", s.release.release},
                                     {"one_way_door", s.one_way_door},
                                     {"bytes", s.sheet.bytes},
                                     {"landed", t.landed.expected},
                                     {"passed_over", t.passed_over.expected},
                                     {"refused", t.refused.expected},
                                     {"total", t.total},
                                     {"p50_s", s.forecast.total.p50_s},
                                     {"p90_s", s.forecast.total.p90_s},
                                     {"no_way_back_p90_s", s.map.no_way_back_p90_s},
                                     {"hands_on", plan::hands_as_json(s.forecast)}});
    }
    json::object data{{"to", p.to},
                      {"family_digest", p.family_digest},
                      {"as_found_origin", json::string(code(p.as_found.origin))},
                      {"as_found", plan::installed_as_json(p.as_found)},
                      {"verdict", std::string(code(p.judgement.verdict()))},
                      {"reasons", reasons_as_json(p.judgement.reasons)},
                      {"set", plan::set_as_json(p.set)},
                      {"cuts", cuts},
                      {"route", std::move(route)}};
    if (fed != Feeding::as_family_says) data["fed"] = json::string(code(fed));
    if (!p.from.empty()) data["from"] = p.from;
    if (offered) data["offered"] = json::array(offered->surprises.begin(), offered->surprises.end());
    return {"planned", std::move(data)};
}

}  // namespace fettle::workshop
