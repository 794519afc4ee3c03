#include "fettle/prove/clearing.h"

#include <fmt/core.h>

#include <algorithm>

namespace fettle::prove {

ToClear to_clear(const Faults& faults, const std::string& box) {
    ToClear out;
    for (const Attributed& a : faults.entries) {
        if (a.fault.box != box || !a.fault.status || !has_failed(*a.fault.status)) continue;
        if (a.may_be_cleared) {
            out.codes.push_back(a.fault.code);
            continue;
        }
        if (a.kind == Kind::gone) continue;
        out.others.push_back(a.fault.code);
        out.staying.push_back({"fault-stays", Verdict::mind, fmt::format("{} stays: {}", a.fault.code, a.why),
                               a.fault.code, "status byte"});
    }
    return out;
}

bool others_may_go(const ToClear& choice, const std::vector<std::string>& signed_for) {
    return !choice.others.empty() &&
           std::all_of(choice.others.begin(), choice.others.end(), [&](const std::string& code) {
               return std::find(signed_for.begin(), signed_for.end(), code) != signed_for.end();
           });
}

}  // namespace fettle::prove
