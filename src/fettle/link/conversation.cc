#include "fettle/link/conversation.h"

#include <algorithm>
#include <map>
#include <tuple>

#include "fettle/link/ethernet.h"

namespace fettle::link {

namespace {

constexpr std::size_t most_kept = 1u << 20;  // of one stream or message that does not become whole

// One direction of a TCP connection.
struct Stream {
    Bytes bytes;
    std::vector<std::size_t> places;
    std::optional<std::uint32_t> next;  // sequence number
};
// One message on its way over CAN frames: enough of ISO-TP to put a recorded one together.
struct Joined {
    CanSaid said;
    std::size_t length = 0;
    Byte sn = 1;
};

class Reader {
public:
    std::vector<Piece> out;

    void take(const pcapng::Packet& p) {
        if (p.link_type == pcapng::ethernet) ethernet(p);
        if (p.link_type == pcapng::socketcan)
            if (const auto f = decode_frame(p.data)) can(*f, p.at + 8);
    }

private:
    void ethernet(const pcapng::Packet& p) {
        const auto t = take_ethernet(p.data);
        if (!t || (t->segment.to.port != doip::port && t->segment.from.port != doip::port)) return;
        const bool to_entity = t->segment.to.port == doip::port;
        const ByteView data = ByteView(p.data).subspan(t->at, t->size);
        std::vector<std::size_t> places(t->size);
        for (std::size_t i = 0; i < t->size; ++i) places[i] = p.at + t->at + i;
        if (!t->segment.tcp) {
            if (auto m = doip::decode(data)) out.push_back({DoipSaid{std::move(*m), to_entity, std::move(places)}, {}});
            return;
        }
        Stream& s = streams_[{t->segment.from.host, t->segment.from.port, t->segment.to.host, t->segment.to.port}];
        if ((t->segment.flags & 0x02) != 0) {  // a new connection
            s = {};
            s.next = t->segment.sequence + 1;
            return;
        }
        if (t->size == 0) return;
        if (s.next && *s.next != t->segment.sequence) {
            if (static_cast<std::int32_t>(t->segment.sequence - *s.next) < 0) return;  // seen before
            s.bytes.clear();                                                           // bytes are missing: begin again
            s.places.clear();
        }
        s.next = t->segment.sequence + static_cast<std::uint32_t>(t->size);
        append(s.bytes, data);
        s.places.insert(s.places.end(), places.begin(), places.end());
        cut(s, to_entity);
    }
    void cut(Stream& s, bool to_entity) {
        std::size_t at = 0;
        while (s.bytes.size() - at >= doip::header_size) {
            const std::uint64_t whole = doip::header_size + std::uint64_t{load_be32(s.bytes, at + 4)};
            if (whole > most_kept) {
                at = s.bytes.size();
                break;
            }
            if (s.bytes.size() - at < whole) break;
            if (auto m = doip::decode(ByteView(s.bytes).subspan(at, whole)))
                out.push_back({DoipSaid{std::move(*m),
                                        to_entity,
                                        {s.places.begin() + static_cast<std::ptrdiff_t>(at),
                                         s.places.begin() + static_cast<std::ptrdiff_t>(at + whole)}},
                               {}});
            at += whole;
        }
        s.bytes.erase(s.bytes.begin(), s.bytes.begin() + static_cast<std::ptrdiff_t>(at));
        s.places.erase(s.places.begin(), s.places.begin() + static_cast<std::ptrdiff_t>(at));
    }

    void can(const CanFrame& f, std::size_t place) {
        if (f.size == 0) return;
        Joined& j = joined_[{f.id.number, f.id.extended}];
        const ByteView b = f.bytes();
        const auto add = [&](std::size_t at, std::size_t n) {
            n = std::min(n, b.size() - std::min(at, b.size()));
            for (std::size_t i = 0; i < n; ++i) {
                j.said.message.push_back(b[at + i]);
                j.said.places.push_back(place + at + i);
            }
        };
        switch (b[0] >> 4) {
            case 0: {
                const bool long_form = b.size() > 8 && b[0] == 0;
                const std::size_t length = long_form ? b[1] : b[0], at = long_form ? 2 : 1;
                if (length == 0 || at + length > b.size()) return;
                begin(j, f, length);
                add(at, length);
                break;
            }
            case 1: {
                if (b.size() < 8) return;
                std::size_t length = static_cast<std::size_t>(b[0] & 0x0F) << 8 | b[1], at = 2;
                if (length == 0) {
                    length = load_be32(b, 2);
                    at = 6;
                }
                if (length > most_kept) return;
                begin(j, f, length);
                add(at, b.size() - at);
                break;
            }
            case 2:
                if (j.length == 0) return;
                if ((b[0] & 0x0F) != j.sn) {
                    j.length = 0;
                    return;
                }
                j.sn = (j.sn + 1) & 0x0F;
                add(1, std::min(b.size() - 1, j.length - j.said.message.size()));
                break;
            default: return;
        }
        if (j.said.message.size() < j.length) return;
        j.length = 0;
        out.push_back({{}, std::move(j.said)});
        j.said = {};
    }
    static void begin(Joined& j, const CanFrame& f, std::size_t length) {
        j = {};
        j.length = length;
        j.said.id = f.id;
        j.said.fd = f.fd;
    }

    std::map<std::tuple<std::string, std::uint16_t, std::string, std::uint16_t>, Stream> streams_;
    std::map<std::pair<std::uint32_t, bool>, Joined> joined_;
};

}  // namespace

std::vector<Piece> conversation(const pcapng::Capture& capture) {
    Reader r;
    for (const auto& p : capture.packets) r.take(p);
    return std::move(r.out);
}

}  // namespace fettle::link
