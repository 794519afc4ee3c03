#include "fettle/plan/json_parts.h"

#include "fettle/base/json.h"
#include "fettle/plan/plan.h"

namespace fettle::plan {

json::array hands_as_json(const forecast::Forecast& f) {
    json::array out;
    for (const auto& h : hands_on(f))
        out.push_back(json::object{{"act", h.act}, {"from_s", h.from_s}, {"to_s", h.to_s}});
    return out;
}

json::object set_as_json(const change::SetState& set) {
    json::object out;
    for (const auto& [role, box] : set) {
        json::object b{{"release", box.release}, {"issue", box.issue}, {"market", box.market}};
        b["counter"] = box.counter ? json::value(*box.counter) : json::value(nullptr);
        out[role] = std::move(b);
    }
    return out;
}

change::SetState set_from_json(const json::object& set) {
    change::SetState out;
    for (const auto& [role, value] : set) {
        change::BoxState& box = out[std::string(role)];
        if (!value.is_object()) continue;
        const json::object& o = value.get_object();
        box.release = text_of(o, "release");
        box.issue = text_of(o, "issue");
        box.market = text_of(o, "market");
        if (const json::value* counter = o.if_contains("counter"); counter && counter->is_int64())
            box.counter = counter->get_int64();
    }
    return out;
}

json::array installed_as_json(const change::InstalledList& list) {
    json::array out;
    for (const auto& p : list.pieces) {
        json::object piece{{"box", p.box}, {"name", p.name}, {"version", p.version}};
        if (!p.sha256.empty()) piece["sha256"] = p.sha256;
        out.push_back(std::move(piece));
    }
    return out;
}

}  // namespace fettle::plan
