// The stand-in's diagnostic side: what each box answers to a UDS request. Requests are taken apart here byte by byte,
// not by the client's codec, so that a wrong idea of a layout is not shared by both ends.
#include <algorithm>

#include "fettle/link/uds.h"
#include "fettle/standin/world.h"

namespace fettle::standin {

namespace {

Bytes no(Byte service, Byte code) {
    return {0x7F, service, code};
}

std::string piece_lines(const BoxWorld& b, const family::Family& f) {
    std::string out;
    for (const auto& r : b.regions)
        for (const Cell& c : r.stores[b.store_index(*f.region(b.role, r.name), "active")])
            for (const auto& p : c.pieces) out += p.name + " " + p.version + "\n";
    return out;
}

std::optional<std::string> identifier(const BoxWorld& b, const family::LinkBox& link, const family::Family& f,
                                      std::uint16_t did) {
    if (did == 0) return std::nullopt;
    if (did == link.did_plate) return b.plate;
    if (did == link.did_serial) return b.serial;
    if (did == link.did_release) return b.release;
    if (did == link.did_market) return b.market;
    if (did == link.did_pieces && link.pieces_layout == "lines") return piece_lines(b, f);
    if (did == link.did_history) {
        std::string out;
        for (const auto& r : b.history) out = link.history_layout == "lines" ? out + r + " complete\n" : r + "\n" + out;
        return out;
    }
    return std::nullopt;
}

Bytes read_identifiers(const BoxWorld& b, const family::LinkBox& link, const family::Family& f, ByteView q) {
    if (q.size() < 3 || q.size() % 2 == 0) return no(q[0], 0x13);
    Bytes out{0x62};
    for (std::size_t at = 1; at < q.size(); at += 2) {
        const std::uint16_t did = load_be16(q, at);
        if (const auto value = identifier(b, link, f, did)) {
            append_be16(out, did);
            append(out, as_bytes(*value));
        }
    }
    return out.size() == 1 ? no(q[0], 0x31) : out;
}

// One snapshot record of each entry (19 04): the release that the box shows; one byte of extended data (19 06): 1, it
// has happened once. Record 01 only.
Bytes beside_code(const BoxWorld& b, const family::LinkBox& link, ByteView q) {
    if (q.size() != 6) return no(q[0], 0x13);
    const std::uint32_t code = load_be32(q, 1) & 0x00FFFFFF;
    const auto e = std::find_if(b.faults.begin(), b.faults.end(),
                                [&](const FaultEntry& f) { return link::uds::code_number(f.code) == code; });
    if (e == b.faults.end() || (q[5] != 0x01 && q[5] != 0xFF)) return no(q[0], 0x31);
    Bytes out{0x59, q[1]};
    append_be32(out, code << 8 | e->status);
    out.push_back(0x01);
    if ((q[1] & 0x7F) == 0x06) {
        out.push_back(0x01);
        return out;
    }
    out.push_back(0x01);
    append_be16(out, link.did_release);
    append(out, as_bytes(b.release));
    return out;
}

Bytes list_codes(const BoxWorld& b, const family::LinkBox& link, ByteView q) {
    if (q.size() >= 2 && ((q[1] & 0x7F) == 0x06 || ((q[1] & 0x7F) == 0x04 && link.did_release != 0)))
        return beside_code(b, link, q);
    if (q.size() != 3) return no(q[0], q.size() >= 2 && (q[1] & 0x7F) != 0x02 ? 0x12 : 0x13);
    if ((q[1] & 0x7F) != 0x02) return no(q[0], 0x12);
    Bytes out{0x59, 0x02, 0xFF};
    for (const auto& e : b.faults) {
        const auto number = link::uds::code_number(e.code);
        if (number && (e.status & q[2]) != 0) append_be32(out, *number << 8 | e.status);
    }
    return out;
}

// What is cleared has not been tested since (50), until the next start; what has its cause still there is tested at
// once and comes back.
Bytes clear_codes(BoxWorld& b, const World& w, ByteView q) {
    if (q.size() != 4) return no(q[0], 0x13);
    if (w.start.clears == Clears::no) return no(q[0], 0x22);
    const std::uint32_t group = load_be32(q, 0) & 0xFFFFFF;
    const bool known = group == 0xFFFFFF || std::any_of(b.faults.begin(), b.faults.end(), [&](const FaultEntry& e) {
                           return link::uds::code_number(e.code) == group;
                       });
    if (!known || (group != 0xFFFFFF && w.start.clears == Clears::only_all)) return no(q[0], 0x31);
    for (FaultEntry& e : b.faults)
        if (group == 0xFFFFFF || link::uds::code_number(e.code) == group) e.status = w.cause_is_there(e) ? 0x2F : 0x50;
    return {0x54};
}

}  // namespace

std::optional<Bytes> diagnose(World& w, std::uint16_t address, ByteView q) {
    const auto record =
        std::find_if(w.family->link.begin(), w.family->link.end(), [&](const auto& l) { return l.address == address; });
    if (record == w.family->link.end() || q.empty()) return std::nullopt;
    BoxWorld* b = w.box(record->role);
    if (!b || !w.reachable(*b)) return std::nullopt;
    const bool quiet = (q[0] == 0x10 || q[0] == 0x19 || q[0] == 0x3E) && q.size() >= 2 && (q[1] & 0x80) != 0;
    Bytes out;
    switch (q[0]) {
        case 0x10:
            if (q.size() != 2) {
                out = no(q[0], 0x13);
            } else if ((q[1] & 0x7F) != 0x01 && (q[1] & 0x7F) != 0x03) {
                out = no(q[0], 0x12);
            } else {
                b->session = q[1] & 0x7F;
                out = {0x50, b->session, 0x00, 0x32, 0x01, 0xF4};  // P2 50 ms, P2* 5000 ms
            }
            break;
        case 0x14: out = w.phase == Phase::acting ? no(q[0], 0x22) : clear_codes(*b, w, q); break;
        case 0x19: out = list_codes(*b, *record, q); break;
        case 0x22: out = read_identifiers(*b, *record, *w.family, q); break;
        case 0x3E:
            out = q.size() != 2 ? no(q[0], 0x13) : (q[1] & 0x7F) != 0 ? no(q[0], 0x12) : Bytes{0x7E, 0x00};
            break;
        default: out = no(q[0], 0x11); break;
    }
    if (quiet && out[0] != 0x7F) return std::nullopt;
    return out;
}

}  // namespace fettle::standin
