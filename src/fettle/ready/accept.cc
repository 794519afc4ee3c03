#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/ready/ready.h"

namespace fettle::ready {
namespace {

bool open_to_signature(const Reason& r) {
    return r.verdict == Verdict::mind || r.verdict == Verdict::cant_say;
}

bool names(const std::string& code, const Reason& r) {
    return code == r.code || code == acceptance_key(r);
}

// A bare code stands for its reason only while it is the only one of that code.
bool signs(const Acceptance& a, const Reason& r, const Judgement& j) {
    if (trim(a.by).empty() || trim(a.reason).empty()) return false;
    if (a.verdict && r.verdict > *a.verdict) return false;  // it was a mind, now it is not known: sign again
    if (a.code == acceptance_key(r)) return true;
    if (a.code != r.code) return false;
    return std::count_if(j.reasons.begin(), j.reasons.end(), [&](const Reason& o) { return o.code == r.code; }) == 1;
}

}  // namespace

std::string acceptance_key(const Reason& r) {
    return r.where.empty() ? r.code : r.code + ":" + r.where;
}

Status may_accept(const Judgement& judgement, const Acceptance& acceptance) {
    if (trim(acceptance.by).empty() || trim(acceptance.reason).empty()) {
        return usage_error(
            "signature-incomplete", printable(acceptance.code), "a signature needs a name and a reason",
            Next{"sign it with both: ", propose(Act::accept, {given("code", acceptance.code), wanted("by", "NAME"),
                                                              wanted("reason", "TEXT")})});
    }
    std::vector<std::string> found, open;
    bool halts = false;
    for (const Reason& r : judgement.reasons) {
        if (open_to_signature(r)) open.push_back(acceptance_key(r));
        if (!names(acceptance.code, r)) continue;
        if (r.verdict == Verdict::halt) halts = true;
        if (open_to_signature(r)) found.push_back(acceptance_key(r));
    }
    if (halts) {
        return usage_error("halt-not-acceptable", printable(acceptance.code),
                           "this is a halt, and no signature starts a run against a halt", "cure it, then check again");
    }
    if (found.empty()) {
        return usage_error("acceptance-names-nothing", printable(acceptance.code),
                           "nothing in the ready check waits for a signature under this code",
                           open.empty() ? "nothing waits for a signature at all" : "use one of: " + join(open, ", "));
    }
    if (found.size() > 1) {
        return usage_error("acceptance-not-single", printable(acceptance.code),
                           fmt::format("{} reasons have this code, and each needs its own signature", found.size()),
                           "use one of: " + join(found, ", "));
    }
    return {};
}

MayStart may_start(const Judgement& judgement, const std::vector<Acceptance>& acceptances) {
    MayStart out;
    for (const Reason& r : judgement.reasons) {
        const bool signed_for = std::any_of(acceptances.begin(), acceptances.end(),
                                            [&](const Acceptance& a) { return signs(a, r, judgement); });
        if (r.verdict == Verdict::halt || (r.verdict == Verdict::cant_say && !signed_for)) out.standing.push_back(r);
    }
    out.yes = out.standing.empty();
    return out;
}

}  // namespace fettle::ready
