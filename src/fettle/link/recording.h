// Every exchange on the link as a capture file: DoIP as Ethernet frames with IP, CAN as SocketCAN frames, in the order
// and at the times they went over the wire. And such a file read back: who asked what, and what was answered.
//
// Frames are made from what the sockets gave: addresses of hosts and bytes are those of the exchange, hardware
// addresses are made up, sequence numbers begin at 1. A DoIP entity's port is written as 13400, whatever it was, so
// that readers know the protocol.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/link/recorder.h"

namespace fettle::link {

// Writes a new file; each packet is in it, whole, when the call returns (a kill loses nothing that was written).
// `now_us` tells the time of day in microseconds since 1970. outside "recording-not-written" when the file cannot be
// made or exists already; a disk that fills up later shows in failed().
class FileRecorder : public Recorder {
public:
    static Result<std::shared_ptr<FileRecorder>> create(const std::string& path, std::function<std::int64_t()> now_us);
    virtual const std::string& failed() const = 0;  // empty: all is written
};

// --- reading ------------------------------------------------------------------------------------------------------

// One question to a box and all that the box said to it, in order.
struct Exchanged {
    bool can = false;
    std::uint16_t box = 0;            // DoIP: logical address
    CanId request_id{}, answer_id{};  // CAN
    bool fd = false;
    Bytes question;
    std::vector<Bytes> answers;  // empty: none came
    std::string not_delivered;   // what the gateway or the bus said instead
    std::uint8_t nack = 0;       // DoIP: its code
};

struct Recorded {
    std::vector<Exchanged> exchanges;  // in order
    std::string vin;                   // of the announcement, if one was seen
    std::uint16_t entity = 0;          // that activated
    bool cut_short = false;
};
// bad_input "recording-not-understood" for what is no capture file. Packets that are neither DoIP nor ISO-TP are passed
// over.
Result<Recorded> read_recording(ByteView file);

// A copy in which the vehicle and the box cannot be recognised: VIN, EID and GID of announcements, the records of
// identifiers F190 (VIN), F18C (serial number) and of those named, and wherever else their values stand, become "X" and
// zeros of the same length. Everything else stays, so that it plays back as before.
Result<Bytes> without_names(ByteView file, const std::vector<std::uint16_t>& more_identifiers = {});

}  // namespace fettle::link
