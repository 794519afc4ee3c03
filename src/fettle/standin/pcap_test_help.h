// For tests: bytes that went over a socket, written down as a capture file (classic pcap, Ethernet, IPv4), so that an
// open dissector can read them without any right to capture.
#pragma once

#include <fstream>
#include <string>

#include "fettle/base/bytes.h"

namespace fettle::standin::testing {

class Capture {
public:
    explicit Capture(const std::string& path) : out_(path, std::ios::binary) {
        Bytes head(24);
        store_le32(head, 0, 0xA1B2C3D4);
        store_le16(head, 4, 2);
        store_le16(head, 6, 4);
        store_le32(head, 16, 65535);
        store_le32(head, 20, 1);  // Ethernet
        put(head);
    }
    // from_box: the stand-in sent it. The box has port 13400 here, whatever port it really listened on.
    void udp(bool from_box, ByteView data) {
        Bytes b;
        ports(b, from_box);
        append_be16(b, static_cast<std::uint16_t>(8 + data.size()));
        append_be16(b, 0);
        append(b, data);
        packet(from_box, 17, b);
    }
    void tcp(bool from_box, ByteView data) {
        std::uint32_t& mine = next_[from_box ? 1 : 0];
        Bytes b;
        ports(b, from_box);
        append_be32(b, mine);
        append_be32(b, next_[from_box ? 0 : 1]);
        append_be16(b, 0x5018);  // header of 20 bytes, PSH and ACK
        append_be16(b, 65535);
        append_be32(b, 0);
        append(b, data);
        mine += static_cast<std::uint32_t>(data.size());
        packet(from_box, 6, b);
    }

private:
    static void ports(Bytes& b, bool from_box) {
        append_be16(b, from_box ? 13400 : 50001);
        append_be16(b, from_box ? 50001 : 13400);
    }
    void packet(bool from_box, Byte protocol, const Bytes& inner) {
        Bytes ip{0x45, 0};
        append_be16(ip, static_cast<std::uint16_t>(20 + inner.size()));
        append_be32(ip, 0x00004000);  // do not fragment
        append(ip, Bytes{64, protocol, 0, 0, 127, 0, 0, Byte(from_box ? 2 : 1), 127, 0, 0, Byte(from_box ? 1 : 2)});
        std::uint32_t sum = 0;
        for (std::size_t i = 0; i < 20; i += 2) sum += load_be16(ip, i);
        while (sum >> 16) sum = (sum & 0xFFFF) + (sum >> 16);
        ip[10] = static_cast<Byte>(~sum >> 8);
        ip[11] = static_cast<Byte>(~sum);
        Bytes frame{2, 0, 0, 0, 0, 2, 2, 0, 0, 0, 0, 1, 8, 0};
        append(frame, ip);
        append(frame, inner);
        Bytes head(16);
        store_le32(head, 0, 1795600000 + count_++);  // seconds: any will do
        store_le32(head, 8, static_cast<std::uint32_t>(frame.size()));
        store_le32(head, 12, static_cast<std::uint32_t>(frame.size()));
        put(head);
        put(frame);
    }
    void put(const Bytes& b) {
        out_.write(reinterpret_cast<const char*>(b.data()), static_cast<std::streamsize>(b.size())).flush();
    }

    std::ofstream out_;
    std::uint32_t next_[2] = {1, 1};
    std::uint32_t count_ = 0;
};

}  // namespace fettle::standin::testing
