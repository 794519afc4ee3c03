// A digest as an index writes it: in hex, or in base64 (RFC 4648, either alphabet, padded or not), perhaps with its
// algorithm before it ("sha512-…", "sha256=…", "md5:…").
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fettle/base/bytes.h"

namespace fettle::family {

// In lower-case hex; nullopt: no digest of this algorithm. Which form it has, its length tells.
std::optional<std::string> digest_hex(std::string_view text, std::string_view algorithm, std::size_t hex_digits);

std::optional<Bytes> unbase64(std::string_view text);

}  // namespace fettle::family
