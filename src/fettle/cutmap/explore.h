// Exhaustive exploration: every state that up to k cuts can leave behind, each once.
#pragma once

#include <cstdint>
#include <limits>
#include <vector>

#include "fettle/cutmap/run.h"

namespace fettle::cutmap {

using OutcomeBits = std::uint16_t;  // bit (1 << Outcome)
inline OutcomeBits bit_of(Outcome o) {
    return static_cast<OutcomeBits>(1u << static_cast<unsigned>(o));
}
Outcomes outcomes_of(OutcomeBits bits);
Outcome worst_of(OutcomeBits bits);  // of at least one bit

inline constexpr std::uint32_t no_state = std::numeric_limits<std::uint32_t>::max();

// What follows from one state left behind by a cut, with some cuts still to come.
struct Fate {
    OutcomeBits bits = 0;
    std::uint32_t worst_next = no_state;  // the state that the next cut of the worst example leaves; no_state: none
    bool known = false;
};

class Explorer {
public:
    Explorer(const Model& m, std::vector<Word> found) : m_(m), found_(std::move(found)) {}

    std::uint32_t number_of(const std::vector<Word>& state);  // the same number for the same state
    const Fate& fate(std::uint32_t state, int more_cuts);     // valid until the next call
    std::vector<Word> state(std::uint32_t number) const;
    std::size_t states() const { return count_; }
    const std::vector<Word>& found() const { return found_; }
    bool endless() const { return endless_; }  // some continued run comes round to the same restart for ever
    std::uint32_t endless_from() const { return endless_from_; }

private:
    struct Judged {  // with no further cut
        OutcomeBits bits = 0;
        std::vector<Resume> ways;
        bool known = false;
    };
    const Judged& judged(std::uint32_t state);
    void grow();

    const Model& m_;
    std::vector<Word> found_;
    std::vector<Word> pool_;  // states, one after the other
    std::vector<std::uint32_t> table_;
    std::size_t count_ = 0;
    std::vector<Judged> judged_;
    std::vector<std::vector<Fate>> fates_;  // by further cuts, then by state
    bool endless_ = false;
    std::uint32_t endless_from_ = no_state;
};

}  // namespace fettle::cutmap
