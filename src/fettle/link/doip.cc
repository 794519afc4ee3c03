#include "fettle/link/doip.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

namespace fettle::link::doip {

namespace {

constexpr std::size_t vin_size = 17;

// --- layouts: payload lengths each type may have; `more` means "this or longer" ------------------------------------

struct Length {
    std::uint16_t type;
    std::uint32_t a, b;
    bool more;
};
constexpr Length lengths[] = {
    {0x0000, 1, 1, false},   {0x0001, 0, 0, false},  {0x0002, 6, 6, false},  {0x0003, 17, 17, false},
    {0x0004, 32, 33, false}, {0x0005, 7, 11, false}, {0x0006, 9, 13, false}, {0x0007, 0, 0, false},
    {0x0008, 2, 2, false},   {0x4001, 0, 0, false},  {0x4002, 3, 7, false},  {0x4003, 0, 0, false},
    {0x4004, 1, 1, false},   {0x8001, 5, 5, true},   {0x8002, 5, 5, true},   {0x8003, 5, 5, true},
};
const Length* length_rule(std::uint16_t type) {
    const auto* l =
        std::find_if(std::begin(lengths), std::end(lengths), [&](const Length& x) { return x.type == type; });
    return l == std::end(lengths) ? nullptr : l;
}

// --- writing -------------------------------------------------------------------------------------------------------

struct Writer {
    Bytes& out;

    void u8(std::uint8_t v) const { out.push_back(v); }
    void vin(const std::string& v) const {
        if (v.size() != vin_size) throw std::invalid_argument("a VIN on the wire has 17 bytes");
        append(out, as_bytes(v));
    }
    void maker(const std::optional<std::uint32_t>& m) const {
        if (m) append_be32(out, *m);
    }

    void operator()(const HeaderNack& m) const { u8(m.code); }
    void operator()(const IdentRequest&) const {}
    void operator()(const IdentRequestEid& m) const { append(out, m.eid); }
    void operator()(const IdentRequestVin& m) const { vin(m.vin); }
    void operator()(const Announcement& m) const {
        vin(m.vin);
        append_be16(out, m.address);
        append(out, m.eid);
        append(out, m.gid);
        u8(m.further_action);
        if (m.sync_status) u8(*m.sync_status);
    }
    void operator()(const RoutingRequest& m) const {
        append_be16(out, m.source);
        u8(m.type);
        append_be32(out, 0);
        maker(m.maker);
    }
    void operator()(const RoutingResponse& m) const {
        append_be16(out, m.tester);
        append_be16(out, m.entity);
        u8(m.code);
        append_be32(out, 0);
        maker(m.maker);
    }
    void operator()(const AliveRequest&) const {}
    void operator()(const AliveResponse& m) const { append_be16(out, m.source); }
    void operator()(const StatusRequest&) const {}
    void operator()(const StatusResponse& m) const {
        u8(m.node_type);
        u8(m.most_sockets);
        u8(m.open_sockets);
        maker(m.largest);
    }
    void operator()(const PowerRequest&) const {}
    void operator()(const PowerResponse& m) const { u8(m.mode); }
    void operator()(const Diagnostic& m) const {
        if (m.data.empty()) throw std::invalid_argument("a diagnostic message carries at least one byte");
        append_be16(out, m.source);
        append_be16(out, m.target);
        append(out, m.data);
    }
    template <class AckOrNack>
    void answer(const AckOrNack& m) const {
        append_be16(out, m.source);
        append_be16(out, m.target);
        u8(m.code);
        append(out, m.echo);
    }
    void operator()(const DiagnosticAck& m) const { answer(m); }
    void operator()(const DiagnosticNack& m) const { answer(m); }
};

// --- reading: the length was held against the type's rule, so a missing byte is a bug of that table -----------------

template <class T>
T must(std::optional<T> v) {
    if (!v) throw std::logic_error("DoIP length table and reader disagree");
    return *v;
}
Bytes rest_of(Cursor& in) {
    const ByteView all = must(in.take(in.left()));
    return Bytes(all.begin(), all.end());
}
Eid eid_of(Cursor& in) {
    const ByteView b = must(in.take(6));
    Eid e{};
    std::copy(b.begin(), b.end(), e.begin());
    return e;
}
template <class T>
T answer_of(Cursor& in) {
    T m;
    m.source = must(in.be16());
    m.target = must(in.be16());
    m.code = must(in.u8());
    m.echo = rest_of(in);
    return m;
}

Body read_body(std::uint16_t type, Cursor in) {
    switch (type) {
        case 0x0000: return HeaderNack{must(in.u8())};
        case 0x0001: return IdentRequest{};
        case 0x0002: return IdentRequestEid{eid_of(in)};
        case 0x0003: return IdentRequestVin{as_text(must(in.take(vin_size)))};
        case 0x0004: {
            Announcement m;
            m.vin = as_text(must(in.take(vin_size)));
            m.address = must(in.be16());
            m.eid = eid_of(in);
            m.gid = eid_of(in);
            m.further_action = must(in.u8());
            if (in.left() > 0) m.sync_status = in.u8();
            return m;
        }
        case 0x0005: {
            RoutingRequest m;
            m.source = must(in.be16());
            m.type = must(in.u8());
            must(in.take(4));
            if (in.left() > 0) m.maker = must(in.be32());
            return m;
        }
        case 0x0006: {
            RoutingResponse m;
            m.tester = must(in.be16());
            m.entity = must(in.be16());
            m.code = must(in.u8());
            must(in.take(4));
            if (in.left() > 0) m.maker = must(in.be32());
            return m;
        }
        case 0x0007: return AliveRequest{};
        case 0x0008: return AliveResponse{must(in.be16())};
        case 0x4001: return StatusRequest{};
        case 0x4002: {
            StatusResponse m;
            m.node_type = must(in.u8());
            m.most_sockets = must(in.u8());
            m.open_sockets = must(in.u8());
            if (in.left() > 0) m.largest = must(in.be32());
            return m;
        }
        case 0x4003: return PowerRequest{};
        case 0x4004: return PowerResponse{must(in.u8())};
        case 0x8001: {
            Diagnostic m;
            m.source = must(in.be16());
            m.target = must(in.be16());
            m.data = rest_of(in);
            return m;
        }
        case 0x8002: return answer_of<DiagnosticAck>(in);
        case 0x8003: return answer_of<DiagnosticNack>(in);
        default: throw std::logic_error("unknown type passed the length table");
    }
}

// The header's checks in the standard's order. On success: version, type, length.
struct Header {
    std::uint8_t version = 0;
    std::uint16_t type = 0;
    std::uint32_t length = 0;
};
tl::expected<Header, Fault> check_header(ByteView first8, std::uint32_t largest) {
    Header h{first8[0], load_be16(first8, 2), load_be32(first8, 4)};
    const std::uint8_t inverse = first8[1];
    const bool identifying = h.type >= 0x0001 && h.type <= 0x0003;
    const bool version_known = h.version == 2 || h.version == 3 || (h.version == 0xFF && identifying);
    if ((h.version ^ inverse) != 0xFF)
        return tl::unexpected(
            Fault{0x00, true, 0,
                  fmt::format("version {:02X} with inverse {:02X}, which is not its inverse", h.version, inverse)});
    if (!version_known)
        return tl::unexpected(
            Fault{0x00, true, 0, fmt::format("protocol version {:02X}, expected 02 or 03", h.version)});
    const std::uint64_t whole = header_size + std::uint64_t{h.length};
    const Length* rule = length_rule(h.type);
    if (!rule) return tl::unexpected(Fault{0x01, false, whole, fmt::format("unknown payload type {:04X}", h.type)});
    if (h.length > largest)
        return tl::unexpected(
            Fault{0x02, false, whole, fmt::format("a length of {} bytes, at most {} are taken", h.length, largest)});
    const bool fits = rule->more ? h.length >= rule->a : (h.length == rule->a || h.length == rule->b);
    if (!fits)
        return tl::unexpected(
            Fault{0x04, true, whole, fmt::format("{} bytes are no length of a {}", h.length, type_name(h.type))});
    return h;
}

}  // namespace

std::uint16_t type_of(const Body& body) {
    constexpr std::uint16_t types[] = {0x0000, 0x0001, 0x0002, 0x0003, 0x0004, 0x0005, 0x0006, 0x0007,
                                       0x0008, 0x4001, 0x4002, 0x4003, 0x4004, 0x8001, 0x8002, 0x8003};
    static_assert(std::size(types) == std::variant_size_v<Body>);
    return types[body.index()];
}

Bytes encode(const Body& body, std::uint8_t version) {
    Bytes out;
    out.reserve(64);
    out.push_back(version);
    out.push_back(static_cast<Byte>(~version));
    append_be16(out, type_of(body));
    append_be32(out, 0);
    std::visit(Writer{out}, body);
    const auto length = static_cast<std::uint32_t>(out.size() - header_size);
    for (int i = 0; i < 4; ++i) out[4 + static_cast<std::size_t>(i)] = static_cast<Byte>(length >> (24 - 8 * i));
    return out;
}

Bytes encode(const Message& message) {
    return encode(message.body, message.version);
}

tl::expected<Message, Fault> decode(ByteView datagram, std::uint32_t largest) {
    if (datagram.size() < header_size)
        return tl::unexpected(Fault{0x00, true, 0, fmt::format("{} bytes, a header has 8", datagram.size())});
    const auto h = check_header(datagram, largest);
    if (!h) return tl::unexpected(h.error());
    if (datagram.size() - header_size != h->length)
        return tl::unexpected(
            Fault{0x04, true, datagram.size(),
                  fmt::format("the header says {} bytes, {} follow", h->length, datagram.size() - header_size)});
    return Message{h->version, read_body(h->type, Cursor(datagram.subspan(header_size)))};
}

// --- stream --------------------------------------------------------------------------------------------------------

void Splitter::feed(ByteView bytes) {
    if (closed_) return;
    if (skip_ > 0) {  // still inside a message that was refused
        const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(skip_, bytes.size()));
        skip_ -= n;
        bytes = bytes.subspan(n);
    }
    if (at_ > 0 && at_ == kept_.size()) {
        kept_.clear();
        at_ = 0;
    }
    append(kept_, bytes);
}

std::optional<tl::expected<Message, Fault>> Splitter::next() {
    if (closed_ || kept() < header_size) return std::nullopt;
    const ByteView rest = ByteView(kept_).subspan(at_);
    const auto h = check_header(rest, largest_);
    if (!h) {
        if (h.error().close) {
            closed_ = true;
            kept_.clear();
            at_ = 0;
        } else {
            const auto here = static_cast<std::size_t>(std::min<std::uint64_t>(h.error().skip, rest.size()));
            skip_ = h.error().skip - here;
            at_ += here;
        }
        return tl::unexpected(h.error());
    }
    const std::size_t whole = header_size + h->length;
    if (rest.size() < whole) return std::nullopt;
    Message m{h->version, read_body(h->type, Cursor(rest.subspan(header_size, h->length)))};
    at_ += whole;
    if (at_ > largest_) {  // do not let passed bytes pile up
        kept_.erase(kept_.begin(), kept_.begin() + static_cast<std::ptrdiff_t>(at_));
        at_ = 0;
    }
    return m;
}

}  // namespace fettle::link::doip
