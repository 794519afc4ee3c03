// Each cluster belongs to the first chain that reaches it. So a chain that runs into a claimed cluster is crossed or
// circular, and no walk takes more steps than the card has clusters, whatever its FAT says. Which of the two it is
// costs one more walk, along the chain itself, and only then.
#include "fettle/card/chains.h"

#include <fmt/core.h>

namespace fettle::card {

std::optional<std::pair<FlawKind, std::string>> Chains::out_of_place(std::uint64_t at) const {
    if (at < 2 || at - 2 >= s_.boot.clusters)
        return std::pair{FlawKind::chain_broken, fmt::format("leads to cluster {}, which is not on the volume", at)};
    if (at - 2 >= claims_.clusters())
        return std::pair{FlawKind::past_the_end, fmt::format("lies beyond the end of the card (cluster {})", at)};
    return std::nullopt;
}

Chain Chains::claim(std::uint32_t first) {
    Chain c;
    for (std::uint32_t at = first;;) {
        if ((c.flaw = out_of_place(at))) return c;
        if (claims_.has(at - 2)) {
            const bool own = holds(first, c.length, at);
            c.flaw = own ? std::pair{FlawKind::chain_circular, fmt::format("comes back to its own cluster {}", at)}
                         : std::pair{FlawKind::chain_crossed,
                                     fmt::format("runs into cluster {}, which something else holds", at)};
            return c;
        }
        claims_.take(at - 2);
        if (claims_.gave_up()) {
            c.flaw = {FlawKind::too_many, "lies in more pieces than this reader keeps count of"};
            return c;
        }
        ++c.length;
        const auto link = s_.follow(at);
        if (!link) {
            c.flaw = {FlawKind::unreadable, "cannot be followed: " + link.error().problem};
            return c;
        }
        if (link->kind == Link::end) return c;
        if (link->kind != Link::next) {
            c.flaw = {FlawKind::chain_broken,
                      fmt::format("holds cluster {}, whose FAT entry is {}", at,
                                  link->kind == Link::free  ? std::string("free")
                                  : link->kind == Link::bad ? std::string("marked bad")
                                                            : fmt::format("out of range ({})", link->cluster))};
            return c;
        }
        at = link->cluster;
    }
}

Chain Chains::claim_run(std::uint32_t first, std::uint64_t n) {
    Chain c;
    if ((c.flaw = out_of_place(first)) || n == 0) return c;
    const std::uint64_t room = claims_.clusters() - (first - 2);
    c.length = claims_.take_run(first - 2, std::min(n, room));
    if (claims_.gave_up())
        c.flaw = {FlawKind::too_many, "lies in more pieces than this reader keeps count of"};
    else if (c.length < std::min(n, room))
        c.flaw = {FlawKind::chain_crossed,
                  fmt::format("runs into cluster {}, which something else holds", first + c.length)};
    else if (n > room)
        c.flaw = out_of_place(std::uint64_t{first} + c.length);
    return c;
}

bool Chains::holds(std::uint32_t first, std::uint64_t length, std::uint32_t wanted) {
    std::uint32_t at = first;
    for (std::uint64_t i = 0; i < length; ++i) {
        if (at == wanted) return true;
        const auto link = s_.follow(at);
        if (!link || link->kind != Link::next) return false;
        at = link->cluster;
    }
    return false;
}

}  // namespace fettle::card
