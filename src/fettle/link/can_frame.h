// One frame on a CAN bus, classic or FD (ISO 11898-1), as a value.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>

#include "fettle/base/bytes.h"

namespace fettle::link {

struct CanId {
    std::uint32_t number = 0;  // 11 bits, or 29 with `extended`
    bool extended = false;
    bool operator==(const CanId&) const = default;
};

struct CanFrame {
    CanId id;
    bool fd = false;
    bool bit_rate_switch = false;  // FD: the data part was sent faster
    std::uint8_t size = 0;         // at most 8, with fd 64
    std::array<Byte, 64> data{};

    ByteView bytes() const { return ByteView(data).first(size); }
    bool operator==(const CanFrame& o) const {
        return id == o.id && fd == o.fd && size == o.size &&
               std::equal(data.begin(), data.begin() + size, o.data.begin());
    }
};

// The sizes that a frame's length code can say: 0 to 8, then 12, 16, 20, 24, 32, 48, 64. The smallest that holds n.
constexpr std::size_t frame_size_for(std::size_t n) {
    for (const std::size_t s : {8u, 12u, 16u, 20u, 24u, 32u, 48u, 64u})
        if (n <= s) return n <= 8 ? n : s;
    return 64;
}

// The form that SocketCAN frames have in capture files (LINKTYPE_CAN_SOCKETCAN): identifier in four bytes, big-endian,
// its highest bit saying "29 bits"; length; FD flags (4: FD, 1: faster data part); two reserved bytes; data. Frames of
// our own bus on the loopback interface travel in it, too.
Bytes encode(const CanFrame& frame);
// nullopt for error frames, remote frames and what has no such form.
std::optional<CanFrame> decode_frame(ByteView bytes);

}  // namespace fettle::link
