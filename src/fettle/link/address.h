// Addresses on the link as people type them: "HOST:PORT" for an entity, "doip://host:port/0x1041" for one box behind
// it.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "fettle/base/result.h"

namespace fettle::link {

struct Endpoint {
    std::string host = "127.0.0.1";
    std::uint16_t port = 13400;
    bool operator==(const Endpoint&) const = default;
};

struct BoxAddress {
    Endpoint at;
    std::uint16_t logical = 0;
    bool operator==(const BoxAddress&) const = default;
};

// "127.0.0.1:13400", "[::1]:13400", "127.0.0.1" (port 13400). usage "bad-address" tells what is wrong with it.
Result<Endpoint> parse_endpoint(std::string_view text);

// "doip://HOST[:PORT]/0xHHHH". Logical addresses 0, of testers (0E00-0FFF), of functional groups (E000-EFFF) and
// reserved ones (F000-FFFF) are refused: only one box is ever asked.
Result<BoxAddress> parse_box_address(std::string_view text);

// "doip://HOST[:PORT]" or the form above: where to connect, and the box if one is named (logical 0: none named).
Result<BoxAddress> parse_link_address(std::string_view text);

std::string text_of(const Endpoint& e);
std::string text_of(const BoxAddress& a);

}  // namespace fettle::link
