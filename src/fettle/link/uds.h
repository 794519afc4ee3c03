// Unified diagnostic services (ISO 14229-1), as far as a reader needs them: requests as a type that cannot hold
// anything else, answers and trouble codes as values. No socket, no clock. docs/formats/uds.md tells the layouts.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::link::uds {

// The two lists of what may be sent: nothing else in the program decides it.
bool only_reads(ByteView message);
bool only_clears(ByteView message);

// A request that only reads. The client sends nothing else but ClearRequest, so whatever else is asked for cannot reach
// a box: session 01 and 03; of stored codes their number (19 01), list (19 02), snapshots (19 04) and extended data (19
// 06); identifiers (22); tester present (3E). What this program never asks has no builder: from_bytes() is the one gate
// for bytes from elsewhere.
class ReadRequest {
public:
    static ReadRequest tester_present(bool quiet = false);  // quiet: the positive answer is suppressed
    static ReadRequest codes(std::uint8_t status_mask);
    // Of one code (24 bits; throws std::invalid_argument beyond): one record by its number, or all of them (FF).
    static ReadRequest snapshot(std::uint32_t code, std::uint8_t record = 0xFF);
    static ReadRequest extended_data(std::uint32_t code, std::uint8_t record = 0xFF);
    static ReadRequest identifier(std::uint16_t did);
    static ReadRequest identifiers(std::span<const std::uint16_t> dids);  // at least one; throws when empty

    // bad_input "request-not-allowed" for every other service, sub-function, length or form.
    static Result<ReadRequest> from_bytes(ByteView bytes);

    const Bytes& bytes() const { return bytes_; }
    std::uint8_t service() const { return bytes_.front(); }
    bool quiet() const { return bytes_.front() == 0x3E && bytes_[1] == 0x80; }

private:
    explicit ReadRequest(Bytes b) : bytes_(std::move(b)) {}
    Bytes bytes_;
};

// A request to clear stored codes (14). A type of its own, so that nothing can be cleared by way of reading.
class ClearRequest {
public:
    static constexpr std::uint32_t all = 0xFFFFFF;
    explicit ClearRequest(std::uint32_t group);  // 24 bits; throws std::invalid_argument beyond
    static Result<ClearRequest> from_bytes(ByteView bytes);
    std::uint32_t group() const;
    const Bytes& bytes() const { return bytes_; }

private:
    Bytes bytes_;
};

// --- answers ------------------------------------------------------------------------------------------------------

inline constexpr std::uint8_t pending_nrc = 0x78;
inline constexpr std::uint8_t busy_nrc = 0x21;

// Name of a negative response code as ISO 14229-1 Annex A.1 gives it ("requestOutOfRange"), "reserved" or "maker's own"
// for what it leaves open; and what it means to a technician, in one clause.
std::string_view nrc_name(std::uint8_t code);
std::string_view nrc_words(std::uint8_t code);

// What a message is to a request that is open.
enum class Kind {
    positive,  // the answer
    negative,  // refused for good: `nrc`
    pending,   // 7F .. 78: wait on
    foreign,   // well formed or not, it does not belong to this request
};
struct Seen {
    Kind kind = Kind::foreign;
    std::uint8_t nrc = 0;
};
// A positive answer must carry the request's service + 40h and repeat its sub-function, one of its identifiers, or the
// code that was asked about.
Seen look_at(ByteView request, ByteView answer);
inline Seen look_at(const ReadRequest& request, ByteView answer) {
    return look_at(ByteView(request.bytes()), answer);
}

// The data of a 62 answer to a single identifier; bad_input when it is not that.
Result<Bytes> identifier_data(std::uint16_t did, ByteView answer);

// --- trouble codes ------------------------------------------------------------------------------------------------

// Status bits of ISO 14229-1 Annex D.2.
inline constexpr std::uint8_t test_failed = 0x01;
inline constexpr std::uint8_t test_failed_this_cycle = 0x02;
inline constexpr std::uint8_t pending_code = 0x04;
inline constexpr std::uint8_t confirmed_code = 0x08;
inline constexpr std::uint8_t not_completed_since_clear = 0x10;
inline constexpr std::uint8_t failed_since_clear = 0x20;
inline constexpr std::uint8_t not_completed_this_cycle = 0x40;
inline constexpr std::uint8_t warning_requested = 0x80;

// One stored code. `number` is the three bytes as one number, `status` the byte as sent.
struct Dtc {
    std::uint32_t number = 0;
    std::uint8_t status = 0;
    bool operator==(const Dtc&) const = default;
};

// "B1A4F-13" of three bytes, "P0135" of two; and back (nullopt for anything that is not of that form).
std::string code_text(std::uint32_t number);
std::string code_text_short(std::uint16_t number);
std::optional<std::uint32_t> code_number(std::string_view text);

// A 59 02 answer: availability mask, then records of four bytes. bad_input when the tail is not a multiple of four.
struct CodeList {
    std::uint8_t availability = 0;
    std::vector<Dtc> codes;
};
Result<CodeList> parse_codes(ByteView answer);

// A 59 04 or 59 06 answer: the code and its status now, and the records as they came. Where one record ends and the
// next begins only the maker's papers tell, so they are not cut.
struct CodeRecords {
    Dtc code;
    Bytes records;  // empty: the box keeps none for it
};
Result<CodeRecords> parse_records(ByteView answer);

}  // namespace fettle::link::uds
