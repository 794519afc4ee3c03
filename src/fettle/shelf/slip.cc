// The words of rights and signatures, and what they allow.
#include <array>
#include <utility>

#include "fettle/base/text.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {
namespace {

constexpr std::array<std::pair<Right, std::string_view>, 5> rights = {{
    {Right::maker_portal, "maker-portal"},
    {Right::customer_owned, "customer-owned"},
    {Right::licence, "licence"},
    {Right::own_work, "own-work"},
    {Right::unknown, "unknown"},
}};

}  // namespace

std::string_view words(Right r) {
    for (const auto& [right, word] : rights)
        if (right == r) return word;
    return "unknown";
}

Result<Right> right_from(std::string_view word) {
    for (const auto& [right, known] : rights)
        if (known == word) return right;
    return usage_error("right-form", with(flag("right")), "\"" + printable(word) + "\" is no right that is known here",
                       "one of maker-portal, customer-owned, licence, own-work, unknown");
}

std::string_view words(SignatureState s) {
    switch (s) {
        case SignatureState::good: return "good";
        case SignatureState::bad: return "bad";
        case SignatureState::absent: break;
    }
    return "absent";
}

bool Outline::for_box(std::string_view role, std::string_view issue) const {
    const auto at = issues.find(std::string(role));
    if (at == issues.end()) return false;
    return issue.empty() || at->second.contains("") || at->second.contains(std::string(issue));
}

Judgement Shelved::may_be_laid() const {
    Judgement j;
    if (slip.right == Right::unknown)
        j.add({"right-unknown", Verdict::halt,
               "by what right this release is here is not known: it is not laid on a customer's card", release.release,
               "provenance slip"});
    else
        j.add({"right-known", Verdict::fit,
               "on the shelf by right: " + std::string(words(slip.right)) + ", from " + slip.from, release.release,
               "provenance slip"});
    if (index_only)
        j.add({"release-index-only", Verdict::halt,
               "only the index of this release is on the shelf: there is nothing to lay", release.release, "shelf"});
    return j;
}

}  // namespace fettle::shelf
