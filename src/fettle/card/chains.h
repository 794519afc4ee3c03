// Chains of clusters, each claimed by the first that reaches it: what comes upon a claimed cluster is crossed or
// circular, so a walk ends after at most as many steps as the device has clusters.
#pragma once

#include <optional>
#include <string>

#include "fettle/card/claims.h"
#include "fettle/card/volume_state.h"

namespace fettle::card {

struct Chain {
    std::uint64_t length = 0;  // clusters claimed
    std::optional<std::pair<FlawKind, std::string>> flaw;
};

class Chains {
public:
    explicit Chains(Volume::State& state) : s_(state), claims_(state.clusters_on_device()) {}

    // Takes the chain for one owner, up to the first cluster that cannot be its own.
    Chain claim(std::uint32_t first);
    // Likewise n clusters one after the other (exFAT's NoFatChain).
    Chain claim_run(std::uint32_t first, std::uint64_t n);

    const Claims& claims() const { return claims_; }

private:
    std::optional<std::pair<FlawKind, std::string>> out_of_place(std::uint64_t cluster) const;
    bool holds(std::uint32_t first, std::uint64_t length, std::uint32_t wanted);

    Volume::State& s_;
    Claims claims_;  // by cluster number - 2
};

}  // namespace fettle::card
