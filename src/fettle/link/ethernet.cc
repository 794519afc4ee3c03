#include "fettle/link/ethernet.h"

#include <arpa/inet.h>

#include <algorithm>
#include <array>

namespace fettle::link {

namespace {

constexpr std::size_t link_header = 14, tcp_header = 20, udp_header = 8;

Bytes host_bytes(const std::string& host) {
    Bytes v4(4), v6(16);
    if (::inet_pton(AF_INET, host == "localhost" ? "127.0.0.1" : host.c_str(), v4.data()) == 1) return v4;
    if (::inet_pton(AF_INET6, host.c_str(), v6.data()) == 1) return v6;
    return v4;
}
std::string host_text(ByteView b) {
    std::array<char, 64> text{};
    ::inet_ntop(b.size() == 4 ? AF_INET : AF_INET6, b.data(), text.data(), text.size());
    return text.data();
}
std::uint32_t added(ByteView b, std::uint32_t sum) {
    for (std::size_t i = 0; i + 1 < b.size(); i += 2) sum += load_be16(b, i);
    if (b.size() % 2 != 0) sum += std::uint32_t{b.back()} << 8;
    while (sum >> 16 != 0) sum = (sum & 0xFFFF) + (sum >> 16);
    return sum;
}
void store_be16(ByteSpan b, std::size_t at, std::uint32_t v) {
    b[at] = static_cast<Byte>(v >> 8);
    b[at + 1] = static_cast<Byte>(v);
}

struct Layers {
    bool v6 = false, tcp = true;
    std::size_t ip = link_header, transport = 0, data = 0, end = 0;
};
std::optional<Layers> layers_of(ByteView f) {
    if (f.size() < link_header + 20) return std::nullopt;
    Layers l;
    Byte protocol = 0;
    if (load_be16(f, 12) == 0x0800 && f[14] >> 4 == 4) {
        const std::size_t header = std::size_t{4} * (f[14] & 0x0F), total = load_be16(f, 16);
        if (header < 20 || total < header || f.size() - link_header < total || (load_be16(f, 20) & 0x3FFF) != 0)
            return std::nullopt;
        protocol = f[23];
        l.transport = link_header + header;
        l.end = link_header + total;
    } else if (load_be16(f, 12) == 0x86DD && f.size() >= link_header + 40 && f[14] >> 4 == 6) {
        const std::size_t payload = load_be16(f, 18);
        if (f.size() - link_header - 40 < payload) return std::nullopt;
        protocol = f[20];
        l.v6 = true;
        l.transport = link_header + 40;
        l.end = l.transport + payload;
    } else {
        return std::nullopt;
    }
    l.tcp = protocol == 6;
    if (protocol != 6 && protocol != 17) return std::nullopt;
    if (l.end - l.transport < (l.tcp ? tcp_header : udp_header)) return std::nullopt;
    const std::size_t header = l.tcp ? std::size_t{4} * (f[l.transport + 12] >> 4) : udp_header;
    if (header < (l.tcp ? tcp_header : udp_header) || l.end - l.transport < header) return std::nullopt;
    l.data = l.transport + header;
    return l;
}

}  // namespace

void renew_sums(ByteSpan f) {
    const auto l = layers_of(f);
    if (!l) return;
    if (!l->v6) {
        store_be16(f, l->ip + 10, 0);
        store_be16(f, l->ip + 10, ~added(f.subspan(l->ip, l->transport - l->ip), 0));
    }
    const std::size_t at = l->transport + (l->tcp ? 16 : 6);
    store_be16(f, at, 0);
    const ByteView addresses = l->v6 ? f.subspan(l->ip + 8, 32) : f.subspan(l->ip + 12, 8);
    const std::uint32_t pseudo =
        added(addresses, (l->tcp ? 6u : 17u) + static_cast<std::uint32_t>(l->end - l->transport));
    const std::uint32_t sum = ~added(f.subspan(l->transport, l->end - l->transport), pseudo) & 0xFFFF;
    store_be16(f, at, sum == 0 ? 0xFFFF : sum);
}

Bytes ethernet_frame(const Segment& s, ByteView data) {
    const Bytes from = host_bytes(s.from.host), to = host_bytes(s.to.host);
    const bool v6 = from.size() == 16;
    Bytes inner;
    append_be16(inner, s.from.port);
    append_be16(inner, s.to.port);
    if (s.tcp) {
        append_be32(inner, s.sequence);
        append_be32(inner, s.acknowledged);
        append(inner, Bytes{0x50, s.flags, 0xFF, 0xFF, 0, 0, 0, 0});
    } else {
        append_be16(inner, static_cast<std::uint16_t>(udp_header + data.size()));
        append_be16(inner, 0);
    }
    append(inner, data);
    Bytes f{2, 0, 0, 0, 0, 2, 2, 0, 0, 0, 0, 1};  // locally administered addresses
    append_be16(f, v6 ? 0x86DD : 0x0800);
    if (v6) {
        append(f, Bytes{0x60, 0, 0, 0});
        append_be16(f, static_cast<std::uint16_t>(inner.size()));
        append(f, Bytes{Byte(s.tcp ? 6 : 17), 64});
    } else {
        append(f, Bytes{0x45, 0});
        append_be16(f, static_cast<std::uint16_t>(20 + inner.size()));
        append(f, Bytes{0, 0, 0x40, 0, 64, Byte(s.tcp ? 6 : 17), 0, 0});
    }
    append(f, from);
    append(f, to);
    append(f, inner);
    renew_sums(f);
    return f;
}

std::optional<Taken> take_ethernet(ByteView f) {
    const auto l = layers_of(f);
    if (!l) return std::nullopt;
    Taken t;
    const std::size_t width = l->v6 ? 16 : 4, addresses = l->ip + (l->v6 ? 8 : 12);
    t.segment.from = {host_text(f.subspan(addresses, width)), load_be16(f, l->transport)};
    t.segment.to = {host_text(f.subspan(addresses + width, width)), load_be16(f, l->transport + 2)};
    t.segment.tcp = l->tcp;
    if (l->tcp) {
        t.segment.sequence = load_be32(f, l->transport + 4);
        t.segment.acknowledged = load_be32(f, l->transport + 8);
        t.segment.flags = f[l->transport + 13];
    }
    t.at = l->data;
    t.size = l->end - l->data;
    return t;
}

}  // namespace fettle::link
