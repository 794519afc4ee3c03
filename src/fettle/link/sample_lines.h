// Readings of a supply as lines of text, from a file that may still grow or from a pipe: whatever a meter, a logger or
// a small script can write. docs/ready.md says the form. Believes nothing: bad lines are told by number and left out.
//
//   # remark
//   time,volts,amps                   a first line of words is taken as heading
//   2026-11-25T09:03:00+00:00,13.52,2.31
//   61.5;13.50;2.28                   seconds since the run began; comma, semicolon, tab or blanks between
//   13.49,2.30                        no time: taken when it came (pipes)
//   62.5,13.50,                       amps not read; also "nan"
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <string_view>

#include "fettle/base/supply_sample.h"

namespace fettle::link {

inline constexpr std::size_t longest_sample_line = 512;

// One line without its end. nullopt inside: nothing to keep (empty, remark, heading at line 1). bad_input
// "sample-not-understood" names the line. `came` stamps lines without a time, `origin` is what seconds count from.
Result<std::optional<SupplySample>> parse_sample(std::string_view line, int number, UnixMs came, UnixMs origin);

// Lines as they come. Samples are handed out when they are due, not before: a recorded file is replayed along the clock
// that it is asked with. One that is older than the one before it is left out and told.
class SampleLines {
public:
    explicit SampleLines(UnixMs origin) : origin_(origin) {}

    void feed(std::string_view bytes, UnixMs now);
    void end();  // no more will come: a last line without its end counts
    bool wants_more() const { return waiting_.size() < 4096; }

    // Samples with t <= now, oldest first. With bad lines since the last call: an error about the first of them, how
    // many there were, and the good samples follow with the next call.
    Result<std::vector<SupplySample>> take(UnixMs now);
    std::size_t waiting() const { return waiting_.size(); }

private:
    void line(std::string_view text, UnixMs now);

    UnixMs origin_;
    std::string half_;
    bool skipping_ = false;  // in the middle of a line that is too long
    int number_ = 0;
    UnixMs newest_ = 0;
    std::deque<SupplySample> waiting_;
    std::optional<Error> bad_;
    int bad_lines_ = 0;
};

}  // namespace fettle::link
