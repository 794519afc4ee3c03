// Inside the link room: Ethernet frames with IP and TCP or UDP, made and taken apart (RFC 791, 8200, 768, 9293).
#pragma once

#include <cstdint>
#include <optional>

#include "fettle/base/bytes.h"
#include "fettle/link/address.h"

namespace fettle::link {

struct Segment {
    Endpoint from, to;
    bool tcp = true;
    std::uint32_t sequence = 0, acknowledged = 0;
    Byte flags = 0x18;  // TCP: PSH and ACK; SYN is 02, ACK 10
};
Bytes ethernet_frame(const Segment& s, ByteView data);

struct Taken {
    Segment segment;
    std::size_t at = 0;  // where the data begin in the frame
    std::size_t size = 0;
};
// nullopt for anything else, also for fragments.
std::optional<Taken> take_ethernet(ByteView frame);
// Sums of IP header and of TCP or UDP, set again after the data were changed.
void renew_sums(ByteSpan frame);

}  // namespace fettle::link
