// A device that breaks on purpose: what counterfeit, worn or pulled cards do.
#pragma once

#include <fmt/core.h>

#include <algorithm>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "fettle/card/block_device.h"

namespace fettle::card {

inline tl::unexpected<Error> on_purpose(const char* code, const BlockDevice& d, std::uint64_t at, const char* what) {
    return outside_error(code, fmt::format("{}, byte {}", d.name(), at), fmt::format("{} failed on purpose", what),
                         "try another card");
}

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

// The device under it knows nothing of the wrap: one range here is one or more ranges there.
template <class F>
Status FaultyDevice::each_stretch(std::uint64_t at, std::uint64_t length, const F& f) const {
    if (at > size_bytes() || length > size_bytes() - at)
        return bad_input("past-the-end", fmt::format("{}, byte {}", name(), at), "lies behind the end of the card", "");
    for (std::uint64_t done = 0; done < length;) {
        const std::uint64_t here = plan_.wraps_at ? (at + done) % plan_.wraps_at : at + done;
        const std::uint64_t n = plan_.wraps_at ? std::min(length - done, plan_.wraps_at - here) : length - done;
        if (Status s = f(here, done, n); !s) return s;
        done += n;
    }
    return {};
}

inline Status FaultyDevice::gone() const {
    if (plan_.gone_after == 0 || writes_.size() < plan_.gone_after) return {};
    return outside_error("device-read-failed", name(), "is not there any more (pulled on purpose)",
                         "put it back, then begin again");
}

inline void FaultyDevice::wait(std::uint64_t at, std::uint64_t length) const {
    if (!plan_.waits) return;
    const bool slow = at < plan_.slow_to && at + length > plan_.slow_from;
    plan_.waits(static_cast<double>(length) * plan_.per_byte_s + (slow ? plan_.slow_s : 0));
}

inline Status FaultyDevice::read_at(std::uint64_t at, ByteSpan out) {
    if (Status s = gone(); !s) return s;
    if (plan_.fail_read_at != 0 && at <= plan_.fail_read_at && plan_.fail_read_at - at < out.size())
        return on_purpose("device-read-failed", *this, at, "reading");
    wait(at, out.size());
    return each_stretch(at, out.size(), [&](std::uint64_t here, std::uint64_t done, std::uint64_t n) -> Status {
        const ByteSpan part = out.subspan(done, n);
        if (Status s = under_.read_at(here, part); !s) return s;
        for (const auto& h : held_) {  // the newest last, so that it wins
            const std::uint64_t from = std::max(h.at, here), to = std::min(h.at + h.bytes.size(), here + n);
            if (from < to)
                std::copy_n(h.bytes.begin() + static_cast<std::ptrdiff_t>(from - h.at), to - from,
                            part.begin() + static_cast<std::ptrdiff_t>(from - here));
        }
        return {};
    });
}

inline Status FaultyDevice::write_at(std::uint64_t at, ByteView data) {
    if (Status s = gone(); !s) return s;
    writes_.push_back({at, data.size(), syncs_});
    const std::uint64_t n = writes_.size();
    if (n == plan_.fail_write) return on_purpose("device-write-failed", *this, at, "writing");
    wait(at, data.size());
    if (n == plan_.drop_write || (plan_.lie_from != 0 && n >= plan_.lie_from)) return {};
    if (n == plan_.flip_write && !data.empty()) {
        Bytes changed(data.begin(), data.end());
        changed[changed.size() / 2] ^= 0x10;
        return arrive(at, changed);
    }
    return arrive(at, data);
}

inline Status FaultyDevice::arrive(std::uint64_t at, ByteView data) {
    if (plan_.drops_from != 0) {
        if (at >= plan_.drops_from) return {};
        data = data.first(std::min<std::uint64_t>(data.size(), plan_.drops_from - at));
    }
    return each_stretch(at, data.size(), [&](std::uint64_t here, std::uint64_t done, std::uint64_t n) -> Status {
        return medium(here, data.subspan(done, n));
    });
}

inline Status FaultyDevice::medium(std::uint64_t at, ByteView data) {
    if (plan_.held_bytes == 0) return under_.write_at(at, data);
    held_.push_back({at, Bytes(data.begin(), data.end())});
    std::uint64_t held = 0;
    for (const auto& h : held_) held += h.bytes.size();
    while (held > plan_.held_bytes && !held_.empty()) {  // no room: the oldest goes to the medium
        if (Status s = under_.write_at(held_.front().at, held_.front().bytes); !s) return s;
        held -= held_.front().bytes.size();
        held_.erase(held_.begin());
    }
    return {};
}

inline Status FaultyDevice::sync() {
    if (Status s = gone(); !s) return s;
    if (++syncs_ == plan_.fail_sync)
        return outside_error("device-sync-failed", name(), "syncing failed on purpose", "try another card");
    return under_.sync();
}

}  // namespace fettle::card
