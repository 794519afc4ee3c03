// For tests and benchmarks: two channels on a bus in memory, with a clock of their own. The bus takes every frame at
// once; `touch` may change, double or swallow it.
#pragma once

#include <functional>
#include <vector>

#include "fettle/link/isotp.h"

namespace fettle::link::isotp::testing {

struct Bus {
    explicit Bus(const Config& left_config, const Config& right_config) : left(left_config), right(right_config) {}

    Channel left, right;
    SteadyTime now{};
    std::vector<Bytes> log{};  // payloads in the order of the bus, when wanted
    bool keep_log = false;
    std::function<std::vector<Bytes>(ByteView)> touch{};  // what arrives instead of a frame; empty: it itself

    // One frame from one side to the other; false when neither has one to send now.
    bool carry() { return carry(left, right) || carry(right, left); }

    // Until neither side has anything to do, by time either; at most `steps`.
    void run(int steps = 100000) {
        for (int i = 0; i < steps; ++i) {
            if (carry()) continue;
            const SteadyTime next = std::min(left.deadline(), right.deadline());
            if (next == never) return;
            now = std::max(now, next);
            if (carry()) continue;
            left.tick(now);
            right.tick(now);
        }
    }

private:
    bool carry(Channel& from, Channel& to) {
        Payload p;
        if (!from.next(p, now)) return false;
        if (keep_log) log.emplace_back(p.bytes().begin(), p.bytes().end());
        from.sent(now);
        if (!touch) {
            to.take(p.bytes(), now);
        } else {
            for (const Bytes& b : touch(p.bytes())) to.take(b, now);
        }
        return true;
    }
};

// The message that a receiver has got; empty when none.
inline Bytes got(Receiver& r) {
    Bytes out;
    while (auto e = r.event())
        if (e->what == Event::message) out = std::move(e->data);
    return out;
}

}  // namespace fettle::link::isotp::testing
