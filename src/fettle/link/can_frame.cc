#include "fettle/link/can_frame.h"

namespace fettle::link {

namespace {
constexpr std::uint32_t extended_bit = 0x80000000, remote_bit = 0x40000000, error_bit = 0x20000000;
constexpr Byte fd_flag = 0x04, faster_flag = 0x01;
}  // namespace

Bytes encode(const CanFrame& f) {
    Bytes out;
    out.reserve(8 + f.size);
    append_be32(out, f.id.number | (f.id.extended ? extended_bit : 0));
    out.push_back(f.size);
    out.push_back(f.fd ? Byte(fd_flag | (f.bit_rate_switch ? faster_flag : 0)) : Byte{0});
    out.push_back(0);
    out.push_back(0);
    append(out, f.bytes());
    return out;
}

std::optional<CanFrame> decode_frame(ByteView bytes) {
    Cursor in(bytes);
    const auto id = in.be32();
    const auto size = in.u8(), flags = in.u8();
    if (!id || !size || !flags || !in.take(2) || (*id & (remote_bit | error_bit)) != 0) return std::nullopt;
    CanFrame f;
    f.id = {*id & 0x1FFFFFFF, (*id & extended_bit) != 0};
    f.fd = (*flags & fd_flag) != 0 || *size > 8;
    f.bit_rate_switch = f.fd && (*flags & faster_flag) != 0;
    const auto data = in.take(*size);
    if (!data || *size > 64 || frame_size_for(*size) != *size || (!f.id.extended && f.id.number > 0x7FF))
        return std::nullopt;
    f.size = *size;
    std::copy(data->begin(), data->end(), f.data.begin());
    return f;
}

}  // namespace fettle::link
