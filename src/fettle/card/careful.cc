#include "fettle/card/careful.h"

#include "fettle/card/geometry.h"

namespace fettle::card {

family::CardRule careful_rule(const family::Family& family, std::uint64_t card_bytes) {
    family::CardRule rule;
    rule.cluster_kib = {4, 8, 16, 32};
    // Readers take the largest that the specification allows on any card, the smaller ones where it leaves too few.
    for (const std::uint32_t kib : {32u, 16u, 8u, 4u}) {
        if (card_bytes == 0) break;
        family::CardRule one = rule;
        one.cluster_kib = {kib};
        if (!plan_geometry(card_bytes, one)) continue;
        rule = std::move(one);
        break;
    }
    if (family.package) rule.index_at = family.package->index;
    return rule;
}

Reason careful_reason(const std::string& family) {
    const std::string why = family.empty() ? "No family was named" : "The family file says nothing of cards";
    return {"card-rules-not-known", Verdict::mind,
            why +
                ": laid is what most readers take (MBR, FAT32, clusters of 32 KiB or what the size leaves). Whether "
                "this box takes it is not known.",
            family, family.empty() ? "no family named" : "no [card] in the family file"};
}

}  // namespace fettle::card
