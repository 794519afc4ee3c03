// How long the link waits, and the switch that ends a wait early.
#pragma once

#include <atomic>
#include <chrono>
#include <cstdint>
#include <memory>

namespace fettle::link {

using SteadyTime = std::chrono::steady_clock::time_point;

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
    std::int64_t control_ms = 2000;    // A_DoIP_Ctrl: answer to identification and routing activation
    std::int64_t ack_ms = 2000;        // diagnostic acknowledgement, client side
    std::int64_t p2_ms = 1050;         // P2 50 ms and a second for the way
    std::int64_t p2star_ms = 6000;     // after each "pending": P2* 5000 ms and a second for the way
    std::int64_t isotp_ms = 1000;      // CAN: N_As, N_Ar, N_Bs, N_Cr of ISO 15765-2
    std::int64_t transfer_ms = 20000;  // CAN: a long answer that has begun must be whole by then
    std::int64_t longest_ms = 90000;   // the whole of one request, with every "pending" and every repeat
    int most_pending = 1000;           // "pending" to one request: more is an answer that never comes
    int most_busy = 3;                 // repeats after "busy, repeat"
    std::int64_t busy_pause_ms = 200;
};

}  // namespace fettle::link
