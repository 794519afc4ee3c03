// Time is passed in, never asked for by pure code, so that a rehearsal runs at any speed and a test repeats itself.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace fettle {

// Milliseconds since 1970-01-01T00:00:00Z.
using UnixMs = std::int64_t;

class Clock {
public:
    virtual ~Clock() = default;
    virtual UnixMs now() const = 0;
};

class SystemClock final : public Clock {
public:
    UnixMs now() const override;
};

// A clock that a rehearsal or a test moves by hand.
class ManualClock final : public Clock {
public:
    explicit ManualClock(UnixMs start) : now_(start) {}
    UnixMs now() const override { return now_; }
    void advance_ms(std::int64_t ms) { now_ += ms; }
    void set(UnixMs t) { now_ = t; }

private:
    UnixMs now_;
};

// ISO 8601 with milliseconds and offset: "2026-11-25T09:03:00.000+00:00" (UTC is what the journal keeps).
std::string iso8601(UnixMs t);
std::optional<UnixMs> parse_iso8601(std::string_view text);  // the form above, also with "Z" or without milliseconds

// For people: "24 min", "1 h 05 min", "45 s" (under two minutes in seconds), never a fraction.
std::string human_duration(double seconds);

}  // namespace fettle
