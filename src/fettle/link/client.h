// Asking boxes over DoIP or CAN. Only reads: it takes uds::ReadRequest, and uds::ClearRequest toward this machine
// alone, and nothing else. Every call ends within its stated time, whatever the other side does; "did not answer" is
// never "answered no".
//
// Calls block the calling thread (a connection has an event loop, no thread); a Cancel ends them from another thread
// within 50 ms. A Connection, and all that share its loop, are used by one thread at a time.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/link/address.h"
#include "fettle/link/doip.h"
#include "fettle/link/gate.h"
#include "fettle/link/reply.h"
#include "fettle/link/timing.h"
#include "fettle/link/uds.h"

namespace fettle::link {

class Line;
class Recorder;
struct Loop;

// --- who is there -------------------------------------------------------------------------------------------------

struct Found {
    doip::Announcement says;
    Endpoint at;  // the host that the answer came from, with the port that takes connections
};

// Sends one vehicle identification request to the endpoint (never to a broadcast address on its own account: the
// address is the caller's) and gathers answers for control_ms. An empty list means that nobody answered, not that
// nobody is there. outside "link-not-reachable" when it cannot even be sent.
Result<std::vector<Found>> find(const Endpoint& at, const Timing& timing = {}, const Cancel& cancel = {},
                                Recorder* record = nullptr);

// Listens on a port of this machine for vehicles that announce themselves (as they do when ignition comes on; ISO
// 13400-2), sends nothing, and gives each entity once. `wait_ms` is how long. outside "bus-not-heard" when the port
// cannot be had.
Result<std::vector<Found>> hear_announcements(const Endpoint& at, std::int64_t wait_ms, const Cancel& cancel = {},
                                              Recorder* record = nullptr);

// --- one connection -----------------------------------------------------------------------------------------------

// Several connections may share one loop; by default each has its own.
std::shared_ptr<Loop> make_loop();

struct Options {
    std::uint16_t tester = 0x0E80;
    std::uint8_t activation = 0x00;
    std::uint8_t version = 2;            // of DoIP; an entity that wants 3 gets it at a second attempt
    std::function<Phase()> phase{};      // asked before every request; empty: no run is open
    std::shared_ptr<Recorder> record{};  // every byte of the exchange, in both directions; null: nothing is kept
    std::shared_ptr<Loop> loop{};
    // Told once a second while a box that was asked says "wait"; in one clause.
    std::function<void(const std::string&)> waits{};
    int reconnects = 0;  // so often a reading that the other side broke off goes on over a new connection
};

class Connection {
public:
    // Connects and activates routing. outside errors: "link-not-reachable" (nobody listens, or no answer in time),
    // "link-refused" (the entity denied, with its code in words), "link-nonsense" (not DoIP), "link-cancelled".
    static Result<Connection> open(const Endpoint& at, const Options& options = {}, const Timing& timing = {},
                                   const Cancel& cancel = {});
    // The same by an address of either kind. On CAN nothing is sent yet: that a box is there shows with its first
    // answer; "link-not-reachable" when this machine has no such bus. An address on CAN reaches one box, which goes by
    // the number `logical` of the address (its request identifier's lower 16 bits where none was given); to any other
    // number it answers "not reached by this address".
    static Result<Connection> open_to(const BoxAddress& at, const Options& options = {}, const Timing& timing = {},
                                      const Cancel& cancel = {});
    Connection(Connection&&) noexcept;
    Connection& operator=(Connection&&) noexcept;
    ~Connection();

    std::uint16_t entity() const;  // logical address of the entity that activated; on CAN the one box's number
    bool loopback() const;         // the other end is on this machine
    int reconnected() const;       // so often it was lost while reading, and made again

    // One request to one box. Waits for acknowledgement and answer, through "pending" and "busy". Answers to older
    // requests are passed over. A connection that broke answers no_answer from then on, unless it may be made again. A
    // quiet tester-present is done (value, no data) once it is acknowledged.
    Reply ask(std::uint16_t box, const uds::ReadRequest& request);

    // Clears stored codes (14), physically addressed, once: never repeated, not even after "busy". Only toward this
    // machine, and not while a run is open: otherwise nothing is sent and no_answer says why. Whether it may be asked
    // at all is the caller's rule to hold.
    Reply clear(std::uint16_t box, const uds::ClearRequest& request);

    // The record of one identifier: `data` without service and identifier.
    Reply read(std::uint16_t box, std::uint16_t did);

    // Stored codes by status mask (19 02). `raw` keeps the whole answer as it came.
    struct Codes {
        Reply reply;
        uds::CodeList list;  // only with Said::value
    };
    Codes read_codes(std::uint16_t box, std::uint8_t status_mask = 0xFF);

    // All snapshot records (19 04) or extended data records (19 06) of one code. `data` of the reply is the whole
    // answer, checked to be about that code; the records' insides are the maker's.
    Reply read_snapshot(std::uint16_t box, std::uint32_t code);
    Reply read_extended(std::uint16_t box, std::uint32_t code);

private:
    struct State;
    explicit Connection(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::link
