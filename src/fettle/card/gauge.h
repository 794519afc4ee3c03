// The gauge: is a card as large as it says, does it keep what is written, is it even, how fast is it?
//
// Every sector of the first 64 MiB (the unit), and one block in each further unit at the same place in it, and the last
// block, get a mark: their own place and a random number of this session. A card that wraps at any size from the unit
// up then holds, somewhere in the first unit, the mark of a place further on: any stretch as long as a unit holds one
// block with a mark, so the first stretch behind the wrap does. A card that drops writes lacks marks.
//
// Three steps, so that the card can be pulled in between: write_marks, read_marks, and read_marks once more after it
// was put back in. What is in between is the session: seed and figures, small enough to keep in a file.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/card/block_device.h"

namespace fettle::card {

struct GaugePlan {
    std::uint64_t card_bytes = 0;
    std::uint64_t unit_bytes = std::uint64_t{64} << 20;
    std::uint64_t block_bytes = 4096;      // of the single blocks; a multiple of 512, no larger than the unit
    std::uint64_t chunk_bytes = 4u << 20;  // of one timed write or read in the first unit
    std::uint64_t seed = 0;                // of the session; random
};

struct Stretch {
    std::uint64_t at = 0;
    std::uint64_t length = 0;
    bool operator==(const Stretch&) const = default;
};

// Every stretch that is touched, ascending, in the order of writing: chunks of the first unit, then single blocks.
std::vector<Stretch> touched(const GaugePlan& plan);

// What a stretch of the card holds during this session: sectors of 512 bytes, each with its own mark.
void fill_marks(const GaugePlan& plan, std::uint64_t at, ByteSpan out);
// The place whose mark this sector is, if it is a whole mark of this session.
std::optional<std::uint64_t> mark_in(const GaugePlan& plan, ByteView sector);

struct Timed {
    Stretch stretch;
    double seconds = 0;
};

// Seconds since any moment; must not go back.
using Seconds = std::function<double()>;
using GaugeProgress = std::function<void(std::uint64_t done, std::uint64_t total)>;

struct Written {
    std::vector<Timed> writes;  // in order
};
// Writes and syncs all marks. Device errors as they come; what was written stays.
Result<Written> write_marks(const GaugePlan& plan, BlockDevice& device, const Seconds& now,
                            const GaugeProgress& progress = {});

struct Seen {
    bool cold = false;  // read past the system's memory
    std::vector<Timed> reads;
    std::uint64_t sectors = 0;         // looked at
    std::uint64_t right = 0;           // with their own mark
    std::uint64_t foreign = 0;         // with the mark of another place
    std::uint64_t empty = 0;           // all bytes alike: nothing was kept
    std::uint64_t damaged = 0;         // anything else
    std::uint64_t wrap_bytes = 0;      // greatest common divisor of the distances to foreign marks; 0: none met
    std::uint64_t first_wrong_at = 0;  // lowest place without its own mark; only if right != sectors
    std::uint64_t last_right_to = 0;   // end of the highest stretch that has all its own marks
    std::vector<Stretch> wrong;        // stretches without all their marks, the first 64
    std::vector<Stretch> unreadable;   // the device gave no bytes, the first 64
    bool sound() const { return right == sectors && unreadable.empty(); }
};
// Reads all marks back after drop_cache(). A device that does not give its bytes is a finding; only a device that is
// gone altogether (its first unit unreadable from start to end) is an error.
Result<Seen> read_marks(const GaugePlan& plan, BlockDevice& device, const Seconds& now,
                        const GaugeProgress& progress = {});

// Sequential rates over the first unit, bytes a second (10^6 in the speed classes), and what was uneven.
struct Pace {
    double write_rate = 0, read_rate = 0;  // bytes a second over all chunks
    double slowest_write_rate = 0;         // of one chunk
    std::vector<Timed> slow;               // at least slow_factor times the median of its kind and slow_least_s
    std::vector<std::string> classes_met;  // marks whose sequential write minimum the write rate reaches
    std::string highest_class;             // of them; empty: none
};
inline constexpr double slow_factor = 10, slow_least_s = 0.25;
Pace pace(const GaugePlan& plan, const Written& written, const Seen& seen);

// The SD Association's speed classes: minimum sequential write in 10^6 bytes a second.
struct SpeedClass {
    const char* mark;
    double write_mb_per_s;
};
const std::vector<SpeedClass>& speed_classes();

// What it all means. `again`: read once more after the card was pulled and put back; `replugged`: that it really was
// is certain (its disk sequence number changed).
struct Gauged {
    GaugePlan plan;
    std::optional<Written> written;  // not there when only --again was asked
    std::optional<Seen> first, again;
    bool replugged = false;
};
Judgement judge(const Gauged& g);
std::string headline(const Gauged& g);

}  // namespace fettle::card
