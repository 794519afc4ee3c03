// Who vouches for a package's index: its signature by the rule of the family file. Whoever reads an index (shelf, card
// audit) asks here first, before a word of it is believed. Pure: the time is the caller's.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/verdict.h"
#include "fettle/family/family.h"

namespace fettle::family {

enum class SignatureState { good, bad, absent };  // the shelf keeps these numbers

struct SignatureCheck {
    SignatureState state = SignatureState::absent;
    std::vector<Reason> reasons;  // at least one; halt for bad
};

// signature: the bytes of the signature file, nullopt when it is not there. A maker who signs, and no signature: halt,
// unless the rule says that such packages are taken. Certificates: a date that has passed or is still to come is a
// mind, since no time at hand is proven; neither the clock of this machine nor the one that the signer wrote down.
SignatureCheck check_signature(const PackageRule& rule, std::string_view index,
                               const std::optional<std::string>& signature, UnixMs now);

}  // namespace fettle::family
