// Capture files of the pcapng form (draft-ietf-opsawg-pcapng): blocks as bytes, and bytes as packets. Only what
// recordings of the link need: one section, interfaces, packets. Reads files of others in either byte order.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::link::pcapng {

inline constexpr std::uint16_t ethernet = 1;  // link types of tcpdump.org
inline constexpr std::uint16_t socketcan = 227;

// Blocks, whole. Times in microseconds since 1970.
Bytes section_header(std::string_view comment);
Bytes interface(std::uint16_t link_type, std::string_view name, std::string_view comment);
Bytes packet(std::uint32_t interface, std::int64_t at_us, ByteView data);

struct Packet {
    std::uint16_t link_type = 0;
    std::int64_t at_us = 0;
    Bytes data;
    std::size_t at = 0;  // where the data stand in the file
};
struct Capture {
    std::vector<Packet> packets;
    bool cut_short = false;  // the file ends in mid block; what came before is whole
};
// bad_input "recording-not-understood" names the offset. A block of an unknown type is passed over; a packet of an
// interface that was not described, or with a length that its block cannot hold, is an error.
Result<Capture> read(ByteView file);

}  // namespace fettle::link::pcapng
