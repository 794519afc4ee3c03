// Family files travel: a file carries the signature of who made it, as four remark lines at its end, so that it loads
// as any other. It proves who holds the key and that nothing above it was changed; never that what it says is true.
// Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/family/family.h"

namespace fettle::family {

enum class Signed { good, changed, none };

struct Signature {
    Signed state = Signed::none;
    std::string by;          // as the signer wrote it; empty without a signature
    std::string public_key;  // hex
    std::string why;         // what was found
};
// Ed25519 (RFC 8032) over every byte above the signature and the name. Anything in or behind the four lines that
// sign_family() would not have written counts as changed.
Signature check_family_signature(std::string_view toml);

// seed: 32 secret bytes. A signature that stands there is replaced.
std::string sign_family(std::string_view toml, std::string_view by, ByteView seed);

// The text without its signature.
std::string_view without_signature(std::string_view toml);

// What should not travel: texts so long that they may be a maker's own words (certificates are none). Each with its
// key.
std::vector<std::string> long_texts(std::string_view toml);

}  // namespace fettle::family
