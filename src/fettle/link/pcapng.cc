#include "fettle/link/pcapng.h"

#include <fmt/format.h>

namespace fettle::link::pcapng {

namespace {

constexpr std::uint32_t section_type = 0x0A0D0D0A, interface_type = 1, packet_type = 6, magic = 0x1A2B3C4D;
constexpr std::uint32_t longest_packet = 1u << 20;

void le16(Bytes& b, std::uint16_t v) {
    b.push_back(static_cast<Byte>(v));
    b.push_back(static_cast<Byte>(v >> 8));
}
void le32(Bytes& b, std::uint32_t v) {
    le16(b, static_cast<std::uint16_t>(v));
    le16(b, static_cast<std::uint16_t>(v >> 16));
}
void filled(Bytes& b, ByteView data) {
    append(b, data);
    while (b.size() % 4 != 0) b.push_back(0);
}
void option(Bytes& b, std::uint16_t code, std::string_view text) {
    if (text.empty()) return;
    le16(b, code);
    le16(b, static_cast<std::uint16_t>(text.size()));
    filled(b, as_bytes(text));
}
Bytes block(std::uint32_t type, const Bytes& body) {
    Bytes out;
    const auto length = static_cast<std::uint32_t>(body.size() + 12);
    le32(out, type);
    le32(out, length);
    append(out, body);
    le32(out, length);
    return out;
}

// Numbers in the section's byte order; the bytes were counted before.
struct Order {
    bool big = false;
    std::uint16_t u16(ByteView b, std::size_t at) const { return big ? load_be16(b, at) : load_le16(b, at); }
    std::uint32_t u32(ByteView b, std::size_t at) const { return big ? load_be32(b, at) : load_le32(b, at); }
};

auto wrong(std::size_t at, std::string what) {
    return bad_input("recording-not-understood", fmt::format("offset {}", at), std::move(what),
                     Next{"give a pcapng file as `", propose(Act::read_boxes, {flag("record")}), "` writes it"});
}

struct Interface {
    std::uint16_t link_type = 0;
    std::int64_t per_second = 1'000'000;
};

// Ticks a second, from option if_tsresol (9).
std::int64_t resolution(ByteView options, const Order& o) {
    while (options.size() >= 4) {
        const std::uint16_t code = o.u16(options, 0);
        const std::size_t length = o.u16(options, 2), room = (length + 3) / 4 * 4;
        if (code == 0 || options.size() - 4 < room) break;
        if (code == 9 && length == 1) {
            const Byte v = options[4];
            std::int64_t n = 1;
            for (int i = 0; i < (v & 0x7F) && n < 1'000'000'000'000; ++i) n *= (v & 0x80) != 0 ? 2 : 10;
            return n;
        }
        options = options.subspan(4 + room);
    }
    return 1'000'000;
}

}  // namespace

Bytes section_header(std::string_view comment) {
    Bytes b;
    le32(b, magic);
    le16(b, 1);
    le16(b, 0);
    for (int i = 0; i < 8; ++i) b.push_back(0xFF);  // length of the section: not told
    option(b, 1, comment);
    option(b, 4, "Fettle");
    le32(b, 0);
    return block(section_type, b);
}

Bytes interface(std::uint16_t link_type, std::string_view name, std::string_view comment) {
    Bytes b;
    le16(b, link_type);
    le16(b, 0);
    le32(b, 0);  // packets are never cut
    option(b, 1, comment);
    option(b, 2, name);
    le32(b, 0);
    return block(interface_type, b);
}

Bytes packet(std::uint32_t interface, std::int64_t at_us, ByteView data) {
    Bytes b;
    le32(b, interface);
    le32(b, static_cast<std::uint32_t>(static_cast<std::uint64_t>(at_us) >> 32));
    le32(b, static_cast<std::uint32_t>(at_us));
    le32(b, static_cast<std::uint32_t>(data.size()));
    le32(b, static_cast<std::uint32_t>(data.size()));
    filled(b, data);
    return block(packet_type, b);
}

Result<Capture> read(ByteView file) {
    Capture out;
    std::vector<Interface> interfaces;
    Order order;
    Cursor in(file);
    const auto here = [&] { return file.size() - in.left(); };
    if (file.size() < 12 || load_be32(file, 0) != section_type)
        return wrong(0, "it does not begin as a pcapng file does");
    while (in.left() > 0) {
        const std::size_t at = here();
        const ByteView rest = in.rest();
        if (rest.size() < 12) {
            out.cut_short = true;
            return out;
        }
        if (load_be32(rest, 0) == section_type) {
            if (load_be32(rest, 8) == magic)
                order.big = true;
            else if (load_le32(rest, 8) == magic)
                order.big = false;
            else
                return wrong(at, "a section without its byte order");
            interfaces.clear();
        }
        const std::uint32_t type = order.u32(rest, 0), length = order.u32(rest, 4);
        if (length < 12 || length % 4 != 0) return wrong(at, fmt::format("a block of {} bytes", length));
        const auto whole = in.take(length);
        if (!whole) {
            out.cut_short = true;
            return out;
        }
        if (order.u32(*whole, length - 4) != length) return wrong(at, "a block whose two lengths differ");
        const ByteView body = whole->subspan(8, length - 12);
        if (type == section_type) {
            if (body.size() < 16) return wrong(at, "a section header that is too short");
        } else if (type == interface_type) {
            if (body.size() < 8) return wrong(at, "an interface that is too short");
            interfaces.push_back({order.u16(body, 0), resolution(body.subspan(8), order)});
        } else if (type == packet_type) {
            if (body.size() < 20) return wrong(at, "a packet that is too short");
            const std::uint32_t which = order.u32(body, 0), size = order.u32(body, 12);
            if (which >= interfaces.size())
                return wrong(at, fmt::format("a packet of interface {}, which is not described", which));
            if (size > body.size() - 20 || size > longest_packet)
                return wrong(at, fmt::format("a packet of {} bytes in a block of {}", size, length));
            const Interface& i = interfaces[which];
            const std::uint64_t ticks = std::uint64_t{order.u32(body, 4)} << 32 | order.u32(body, 8);
            const auto per = static_cast<std::uint64_t>(i.per_second);
            const auto us = ticks / per * 1'000'000 + ticks % per * 1'000'000 / per;
            const ByteView data = body.subspan(20, size);
            out.packets.push_back(
                {i.link_type, static_cast<std::int64_t>(us), Bytes(data.begin(), data.end()), at + 28});
        }
    }
    return out;
}

}  // namespace fettle::link::pcapng
