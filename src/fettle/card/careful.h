// A card for boxes whose family file says nothing of cards: laid is what most readers take, and said is that nobody
// knows whether these do.
#pragma once

#include <cstdint>
#include <string>

#include "fettle/base/verdict.h"
#include "fettle/family/family.h"

namespace fettle::card {

// Clusters of 32 KiB where a card of this size has enough of them, else the next smaller ones; 0: the size is not
// settled, any of them.
family::CardRule careful_rule(const family::Family& family, std::uint64_t card_bytes = 0);

// mind `card-rules-not-known`, of a card laid so; `family` is empty when none was named.
Reason careful_reason(const std::string& family);

}  // namespace fettle::card
