// A device that breaks on purpose: what counterfeit, worn or pulled cards do, for tests and for practice.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "fettle/card/block_device.h"

namespace fettle::card {

// Wraps a device, keeping notes. Counts start at 1; 0 means never.
class FaultyDevice : public BlockDevice {
public:
    struct Plan {
        std::uint64_t fail_write = 0;    // the n-th write fails, nothing of it arrives
        std::uint64_t fail_sync = 0;     // the n-th sync fails
        std::uint64_t drop_write = 0;    // the n-th write says it went well and does nothing
        std::uint64_t flip_write = 0;    // the n-th write arrives with one bit changed in its middle byte
        std::uint64_t fail_read_at = 0;  // reads that touch this byte offset fail
        std::uint64_t lie_from = 0;      // from this write on nothing arrives, and all is said to be well
        std::uint64_t gone_after = 0;    // pulled after n writes: from then on every read, write and sync fails

        std::uint64_t claims_bytes = 0;  // the size it says it has; 0: that of the device under it
        std::uint64_t wraps_at = 0;      // what is behind this address stands, once more, from 0 on
        std::uint64_t drops_from = 0;    // writes from this address on do nothing, and all is said to be well

        // sync() says that all is on the medium, but what was written last stands in the controller's memory of at most
        // this size: it answers reads from there and loses it in replug(). 0: an honest sync.
        std::uint64_t held_bytes = 0;

        // A read or write that touches [slow_from, slow_to) takes slow_s longer, all others per_byte_s a byte; told to
        // `waits`, who moves a clock.
        std::uint64_t slow_from = 0, slow_to = 0;
        double slow_s = 0, per_byte_s = 0;
        std::function<void(double seconds)> waits;
    };
    struct Note {
        std::uint64_t at = 0;
        std::uint64_t length = 0;
        std::uint64_t syncs_before = 0;
    };

    FaultyDevice(BlockDevice& under, Plan plan) : under_(under), plan_(std::move(plan)) {}

    std::string name() const override { return under_.name(); }
    std::uint64_t size_bytes() const override { return plan_.claims_bytes ? plan_.claims_bytes : under_.size_bytes(); }
    Status read_at(std::uint64_t at, ByteSpan out) override;
    Status write_at(std::uint64_t at, ByteView data) override;
    Status sync() override;
    bool drop_cache() override { return under_.drop_cache(); }
    bool fresh() const override { return under_.fresh(); }

    // Pulled and put back in: a controller that lied forgets what it had not brought to the medium.
    void replug() { held_.clear(); }

    const std::vector<Note>& writes() const { return writes_; }
    std::uint64_t syncs() const { return syncs_; }

private:
    struct Held {
        std::uint64_t at = 0;
        Bytes bytes;
    };
    Status arrive(std::uint64_t at, ByteView data);
    Status medium(std::uint64_t at, ByteView data);
    Status gone() const;
    void wait(std::uint64_t at, std::uint64_t length) const;
    template <class F>
    Status each_stretch(std::uint64_t at, std::uint64_t length, const F& f) const;

    BlockDevice& under_;
    Plan plan_;
    std::vector<Note> writes_;
    std::vector<Held> held_;  // oldest first
    std::uint64_t syncs_ = 0;
};

}  // namespace fettle::card
