// Addresses on the link as people type them: "HOST:PORT" for an entity, "doip://host:port/0x1041" for one box behind
// it, "can://can0/0x7a1:0x7a9" for one box on a CAN bus.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/link/can_frame.h"

namespace fettle::link {

struct Endpoint {
    std::string host = "127.0.0.1";
    std::uint16_t port = 13400;
    bool operator==(const Endpoint&) const = default;
};

// How a box is reached on a CAN bus by ISO-TP.
struct CanAddress {
    std::string interface;         // "can0"; empty: a bus of our own on this machine, at BoxAddress::at
    CanId request, answer;         // what the tester sends with, what the box answers with
    bool fd = false;               // CAN FD frames
    std::uint8_t frame_bytes = 8;  // of the frames sent: 8, with fd up to 64
    std::optional<Byte> pad = 0xCC;
    std::uint8_t block_size = 0, st_min = 0;  // asked of the box, as coded on the wire
    bool kernel = false;                      // by the kernel's ISO-TP socket instead of our own
    bool operator==(const CanAddress&) const = default;
};

struct BoxAddress {
    Endpoint at;
    std::uint16_t logical = 0;        // the number that the box goes by; on CAN any, see below
    std::optional<CanAddress> can{};  // on a CAN bus; otherwise by DoIP
    bool operator==(const BoxAddress&) const = default;
};

// "127.0.0.1:13400", "[::1]:13400", "127.0.0.1" (port 13400). usage "bad-address" tells what is wrong with it.
Result<Endpoint> parse_endpoint(std::string_view text);

// One box: "doip://HOST[:PORT]/0xHHHH", or on CAN
//     can://can0/0x7a1:0x7a9             request and answer identifier; above 7FF they have 29 bits
//     can://can0/0x10                    29-bit fixed addressing: 18DA10F1 and 18DAF110
//     can://127.0.0.1:29500/0x7a1:0x7a9  a bus of our own on this machine
// and behind it, each with a comma: "29bit", "fd" or "fd=16" (bytes a frame), "pad=none" or "pad=55", "bs=8",
// "stmin=5", "tester=F1" (fixed addressing), "kernel", "box=0x1041" (the number it goes by; otherwise the request's
// lower 16 bits).
//
// Addresses of testers, of groups of boxes and reserved ones are refused: only one box is ever asked. DoIP: 0,
// 0E00-0FFF, E000-EFFF, F000-FFFF. CAN: 7DF and 18DBxxxx (ISO 15765-4, ISO 15765-2).
Result<BoxAddress> parse_box_address(std::string_view text);

// "doip://HOST[:PORT]" or a form above: where to connect, and the box if one is named (logical 0: none named).
Result<BoxAddress> parse_link_address(std::string_view text);

std::string text_of(const Endpoint& e);
std::string text_of(const BoxAddress& a);  // parses back to the same

}  // namespace fettle::link
