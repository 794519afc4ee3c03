// Diagnostics over Internet Protocol (ISO 13400-2): messages as values, and bytes as messages. Encodes and decodes,
// nothing else: no socket, no clock. docs/formats/doip.md tells the layout and the order of checks.
//
// Protocol versions 2 (2012) and 3 (2019) are read and written; the default version FF only in vehicle identification
// requests, as the standard allows.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::link::doip {

inline constexpr std::size_t header_size = 8;
inline constexpr std::uint16_t port = 13400;           // UDP and TCP
inline constexpr std::uint32_t largest_body = 65536;   // default limit; a message that claims more is refused unread
inline constexpr std::uint16_t first_tester = 0x0E00;  // logical addresses of testers
inline constexpr std::uint16_t last_tester = 0x0EFF;

using Eid = std::array<Byte, 6>;

struct HeaderNack {
    std::uint8_t code = 0;
    bool operator==(const HeaderNack&) const = default;
};
struct IdentRequest {
    bool operator==(const IdentRequest&) const = default;
};
struct IdentRequestEid {
    Eid eid{};
    bool operator==(const IdentRequestEid&) const = default;
};
struct IdentRequestVin {
    std::string vin;  // 17 bytes as they came; not checked to be ASCII
    bool operator==(const IdentRequestVin&) const = default;
};
// Announcement and identification response are the same message.
struct Announcement {
    std::string vin;  // 17 bytes
    std::uint16_t address = 0;
    Eid eid{}, gid{};
    std::uint8_t further_action = 0;
    std::optional<std::uint8_t> sync_status;
    bool operator==(const Announcement&) const = default;
};
struct RoutingRequest {
    std::uint16_t source = 0;
    std::uint8_t type = 0;
    std::optional<std::uint32_t> maker;
    bool operator==(const RoutingRequest&) const = default;
};
struct RoutingResponse {
    std::uint16_t tester = 0, entity = 0;
    std::uint8_t code = 0;
    std::optional<std::uint32_t> maker;
    bool operator==(const RoutingResponse&) const = default;
};
struct AliveRequest {
    bool operator==(const AliveRequest&) const = default;
};
struct AliveResponse {
    std::uint16_t source = 0;
    bool operator==(const AliveResponse&) const = default;
};
struct StatusRequest {
    bool operator==(const StatusRequest&) const = default;
};
struct StatusResponse {
    std::uint8_t node_type = 0, most_sockets = 0, open_sockets = 0;
    std::optional<std::uint32_t> largest;
    bool operator==(const StatusResponse&) const = default;
};
struct PowerRequest {
    bool operator==(const PowerRequest&) const = default;
};
struct PowerResponse {
    std::uint8_t mode = 0;
    bool operator==(const PowerResponse&) const = default;
};
struct Diagnostic {
    std::uint16_t source = 0, target = 0;
    Bytes data;  // at least one byte
    bool operator==(const Diagnostic&) const = default;
};
struct DiagnosticAck {  // confirms routing only; the answer is a Diagnostic of its own
    std::uint16_t source = 0, target = 0;
    std::uint8_t code = 0;
    Bytes echo;  // start of the request, may be empty
    bool operator==(const DiagnosticAck&) const = default;
};
struct DiagnosticNack {
    std::uint16_t source = 0, target = 0;
    std::uint8_t code = 0;
    Bytes echo;
    bool operator==(const DiagnosticNack&) const = default;
};

using Body = std::variant<HeaderNack, IdentRequest, IdentRequestEid, IdentRequestVin, Announcement, RoutingRequest,
                          RoutingResponse, AliveRequest, AliveResponse, StatusRequest, StatusResponse, PowerRequest,
                          PowerResponse, Diagnostic, DiagnosticAck, DiagnosticNack>;

struct Message {
    std::uint8_t version = 2;
    Body body;
    bool operator==(const Message&) const = default;
};

// The payload type number of a body (0x0000, 0x0001 … 0x8003) and its name in words; empty for a number not known.
std::uint16_t type_of(const Body& body);
std::string_view type_name(std::uint16_t type);

// Meanings of codes; "reserved" for those the standard does not name.
std::string_view header_nack_words(std::uint8_t code);
std::string_view activation_words(std::uint8_t code);
std::string_view diagnostic_nack_words(std::uint8_t code);

// Bytes for the wire. Throws std::invalid_argument when a VIN has not 17 bytes or a diagnostic message no data: a
// caller's bug.
Bytes encode(const Message& message);
Bytes encode(const Body& body, std::uint8_t version = 2);

// Why bytes are no message. `nack` is what an entity answers, `close` whether it then closes the connection: the order
// of checks is the standard's (pattern, type, size, length against type). When `close` is false, `skip` bytes from the
// start of the message belong to it and may be passed over.
struct Fault {
    std::uint8_t nack = 0;
    bool close = false;
    std::uint64_t skip = 0;
    std::string words;
};

// One whole datagram. The length field must match its size.
tl::expected<Message, Fault> decode(ByteView datagram, std::uint32_t largest = largest_body);

// Cuts a TCP stream into messages, however the bytes arrive. Keeps at most one message's bytes beyond what was fed; a
// length field above `largest` is a fault before a single byte of the body is kept.
class Splitter {
public:
    explicit Splitter(std::uint32_t largest = largest_body) : largest_(largest) {}
    void feed(ByteView bytes);
    // The next message; nullopt: more bytes are needed; a Fault: the stream (close) or one message of it is bad. After
    // a fault with `close` the splitter gives nothing more.
    std::optional<tl::expected<Message, Fault>> next();
    std::size_t kept() const { return kept_.size() - at_; }  // bytes fed but not yet given out

private:
    std::uint32_t largest_;
    Bytes kept_;
    std::size_t at_ = 0;
    std::uint64_t skip_ = 0;
    bool closed_ = false;
};

}  // namespace fettle::link::doip
