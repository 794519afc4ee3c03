#include "fettle/link/uds.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

namespace fettle::link::uds {

namespace {

constexpr std::size_t longest_request = 4093;  // service byte and 2,046 identifiers, within what ISO-TP carries

auto not_the_answer(std::string problem) {
    return bad_input("answer-not-understood", "answer", std::move(problem),
                     "read again; if it stays so, keep the raw bytes and do not use the value");
}

}  // namespace

bool only_reads(ByteView b) {
    if (b.empty()) return false;
    switch (b[0]) {
        case 0x10: return b.size() == 2 && (b[1] == 0x01 || b[1] == 0x03);
        case 0x19:
            return b.size() == 3 ? b[1] == 0x01 || b[1] == 0x02 : b.size() == 6 && (b[1] == 0x04 || b[1] == 0x06);
        case 0x22: return b.size() >= 3 && b.size() % 2 == 1 && b.size() <= longest_request;
        case 0x3E: return b.size() == 2 && (b[1] == 0x00 || b[1] == 0x80);
        default: return false;
    }
}
bool only_clears(ByteView b) {
    return b.size() == 4 && b[0] == 0x14;
}

ReadRequest ReadRequest::tester_present(bool quiet) {
    return ReadRequest({0x3E, quiet ? Byte{0x80} : Byte{0x00}});
}
ReadRequest ReadRequest::codes(std::uint8_t status_mask) {
    return ReadRequest({0x19, 0x02, status_mask});
}
namespace {
Bytes about_code(Byte report, std::uint32_t code, std::uint8_t record) {
    if (code > 0xFFFFFF) throw std::invalid_argument("a code has 24 bits");
    return {0x19, report, static_cast<Byte>(code >> 16), static_cast<Byte>(code >> 8), static_cast<Byte>(code), record};
}
}  // namespace
ReadRequest ReadRequest::snapshot(std::uint32_t code, std::uint8_t record) {
    return ReadRequest(about_code(0x04, code, record));
}
ReadRequest ReadRequest::extended_data(std::uint32_t code, std::uint8_t record) {
    return ReadRequest(about_code(0x06, code, record));
}
ReadRequest ReadRequest::identifier(std::uint16_t did) {
    return identifiers(std::span(&did, 1));
}
ReadRequest ReadRequest::identifiers(std::span<const std::uint16_t> dids) {
    Bytes b{0x22};
    for (const auto did : dids) append_be16(b, did);
    if (!only_reads(b)) throw std::invalid_argument("a read request names between 1 and 2,046 identifiers");
    return ReadRequest(std::move(b));
}

Result<ReadRequest> ReadRequest::from_bytes(ByteView bytes) {
    if (!only_reads(bytes))
        return bad_input(
            "request-not-allowed", "request",
            bytes.empty() ? "it is empty" : fmt::format("{} is not on the list of what the link may ask", hex(bytes)),
            "the link reads identifiers (22), stored codes (19 01, 02, 04, 06) and keeps sessions 10 01, 10 03, 3E; "
            "anything else is left to the maker's own tools");
    return ReadRequest(Bytes(bytes.begin(), bytes.end()));
}

ClearRequest::ClearRequest(std::uint32_t group) {
    if (group > 0xFFFFFF) throw std::invalid_argument("a group of codes has 24 bits");
    bytes_ = {0x14, static_cast<Byte>(group >> 16), static_cast<Byte>(group >> 8), static_cast<Byte>(group)};
}
Result<ClearRequest> ClearRequest::from_bytes(ByteView b) {
    if (!only_clears(b))
        return bad_input("request-not-allowed", "request", fmt::format("{} is no request to clear codes", hex(b)),
                         "14 and three bytes of the group are expected");
    return ClearRequest(static_cast<std::uint32_t>(b[1]) << 16 | static_cast<std::uint32_t>(b[2]) << 8 | b[3]);
}
std::uint32_t ClearRequest::group() const {
    return static_cast<std::uint32_t>(bytes_[1]) << 16 | static_cast<std::uint32_t>(bytes_[2]) << 8 | bytes_[3];
}

Seen look_at(ByteView asked, ByteView answer) {
    if (asked.empty()) return {};
    if (answer.size() == 3 && answer[0] == 0x7F && answer[1] == asked[0]) {
        if (answer[2] == pending_nrc) return {Kind::pending, answer[2]};
        if (answer[2] == 0x00) return {};  // never sent in a negative answer
        return {Kind::negative, answer[2]};
    }
    if (answer.empty() || answer[0] != asked[0] + 0x40) return {};
    switch (asked[0]) {
        case 0x22: {
            // Identifiers that the box does not know are left out, so the first echoed one is any that was asked.
            if (answer.size() < 3) return {};
            const std::uint16_t echoed = load_be16(answer, 1);
            for (std::size_t i = 1; i + 1 < asked.size(); i += 2)
                if (load_be16(asked, i) == echoed) return {Kind::positive, 0};
            return {};
        }
        case 0x14: return answer.size() == 1 ? Seen{Kind::positive, 0} : Seen{};
        case 0x19:
            if (asked.size() == 6 &&
                (answer.size() < 6 || !std::equal(asked.begin() + 1, asked.begin() + 5, answer.begin() + 1)))
                return {};
            [[fallthrough]];
        case 0x10: return answer.size() >= 2 && answer[1] == asked[1] ? Seen{Kind::positive, 0} : Seen{};
        default:  // 3E: sub-function without the bit that suppresses the answer
            return answer.size() == 2 && answer[1] == (asked[1] & 0x7F) ? Seen{Kind::positive, 0} : Seen{};
    }
}

Result<Bytes> identifier_data(std::uint16_t did, ByteView answer) {
    if (answer.size() < 3 || answer[0] != 0x62)
        return not_the_answer(fmt::format("{} is no answer to a read of an identifier", hex(answer)));
    if (load_be16(answer, 1) != did)
        return not_the_answer(fmt::format("identifier {:04X} was asked, {:04X} came back", did, load_be16(answer, 1)));
    return Bytes(answer.begin() + 3, answer.end());
}

}  // namespace fettle::link::uds
