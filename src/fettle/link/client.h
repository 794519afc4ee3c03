// Asking boxes over DoIP. Only reads: it takes uds::ReadRequest and nothing else. Every call ends within its stated
// time, whatever the other side does; "did not answer" is never "answered no".
//
// Calls block the calling thread (each connection has an event loop of its own, no thread); a Cancel ends them from
// another thread within 50 ms. A Connection is used by one thread at a time.
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/link/address.h"
#include "fettle/link/doip.h"
#include "fettle/link/uds.h"

namespace fettle::link {

// Shared between the one who waits and the one who may stop it. Copies are the same switch.
class Cancel {
public:
    Cancel() : off_(std::make_shared<std::atomic<bool>>(false)) {}
    void cancel() const { off_->store(true); }
    bool cancelled() const { return off_->load(); }

private:
    std::shared_ptr<std::atomic<bool>> off_;
};

// Milliseconds. Defaults are the standards' (ISO 13400-2 Table 12, ISO 14229-2); p2 adds what a network may cost.
struct Timing {
    std::int64_t connect_ms = 2000;
    std::int64_t control_ms = 2000;  // A_DoIP_Ctrl: answer to identification and routing activation
    std::int64_t ack_ms = 2000;      // diagnostic acknowledgement, client side
    std::int64_t p2_ms = 1050;       // P2 50 ms and a second for the way
    std::int64_t p2star_ms = 6000;   // after each "pending": P2* 5000 ms and a second for the way
    int most_pending = 12;           // more 0x78 than this to one request: not answered
    int most_busy = 3;               // repeats after "busy, repeat"
    std::int64_t busy_pause_ms = 200;
};

// --- who is there -------------------------------------------------------------------------------------------------

struct Found {
    doip::Announcement says;
    Endpoint at;  // where the answer came from
};

// Sends one vehicle identification request to the endpoint (never to a broadcast address on its own account: the
// address is the caller's) and gathers answers for control_ms. An empty list means that nobody answered, not that
// nobody is there. outside "link-not-reachable" when it cannot even be sent.
Result<std::vector<Found>> find(const Endpoint& at, const Timing& timing = {}, const Cancel& cancel = {});

// --- one connection -----------------------------------------------------------------------------------------------

enum class Said {
    value,      // answered, `data` is the whole positive answer (or the record, where a call says so)
    refused,    // answered no: `nrc`
    no_answer,  // not answered in time, connection lost, or not reachable through the entity: `why`
    nonsense,   // answered, but not in a form that can be believed: `why`; nothing of it is kept
};
std::string_view words(Said s);
std::string_view code(Said s);  // "value", "refused", "no-answer", "nonsense"

struct Reply {
    Said said = Said::no_answer;
    Bytes data;
    std::uint8_t nrc = 0;
    std::string why;  // one clause for people; for refused "requestOutOfRange (0x31): …"
};

struct Options {
    std::uint16_t tester = 0x0E80;
    std::uint8_t activation = 0x00;
    std::uint8_t version = 2;
};

class Connection {
public:
    // Connects and activates routing. outside errors: "link-not-reachable" (nobody listens, or no answer in time),
    // "link-refused" (the entity denied, with its code in words), "link-nonsense" (not DoIP), "link-cancelled".
    static Result<Connection> open(const Endpoint& at, const Options& options = {}, const Timing& timing = {},
                                   const Cancel& cancel = {});
    Connection(Connection&&) noexcept;
    Connection& operator=(Connection&&) noexcept;
    ~Connection();

    std::uint16_t entity() const;  // logical address of the entity that activated

    // One request to one box. Waits for acknowledgement and answer, through "pending" and "busy". Answers to older
    // requests are passed over. A connection that broke answers no_answer from then on. A quiet tester-present is
    // done (value, no data) once it is acknowledged.
    Reply ask(std::uint16_t box, const uds::ReadRequest& request);

    // The record of one identifier: `data` without service and identifier.
    Reply read(std::uint16_t box, std::uint16_t did);

    // Several, each with its own answer, in the order given: one by one, because the records' lengths are not known.
    std::vector<Reply> read_each(std::uint16_t box, std::span<const std::uint16_t> dids);

    // Several whose lengths are known: asked in one request; when that is refused or its answer is not exactly those
    // records, one by one, so that one identifier that the box does not know costs no other.
    std::vector<Reply> read_together(std::uint16_t box, std::span<const uds::Wanted> wanted);

    // Stored codes by status mask (19 02). `raw` keeps the whole answer as it came.
    struct Codes {
        Reply reply;
        uds::CodeList list;  // only with Said::value
    };
    Codes read_codes(std::uint16_t box, std::uint8_t status_mask = 0xFF);

private:
    struct State;
    explicit Connection(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::link
