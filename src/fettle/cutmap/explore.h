// Exhaustive exploration: every state that up to k cuts can leave behind, each once.
#pragma once

#include <cstdint>
#include <limits>
#include <memory>
#include <unordered_map>
#include <vector>

#include "fettle/cutmap/run.h"

namespace fettle::cutmap {

inline constexpr std::uint32_t no_state = std::numeric_limits<std::uint32_t>::max();

// What follows from one state left behind by a cut, with some cuts still to come.
struct Fate {
    OutcomeBits bits = 0;
    std::uint32_t worst_next = no_state;  // the state that the next cut of the worst example leaves; no_state: none
};

class Explorer {
public:
    // At most `room_bytes` are taken for states; what does not fit is left out, and full() says so.
    Explorer(const Model& m, std::vector<Word> found, std::size_t room_bytes);

    // The same number for the same state; no_state: no room.
    std::uint32_t number_of(const std::vector<Word>& state) { return number_of(state.data(), hash_of(state.data())); }
    std::uint32_t number_of(const Word* state, std::uint64_t hash);
    // Asked in this order for several states before their numbers, they are on their way when they are wanted.
    std::uint64_t hash_of(const Word* state) const;
    void fetch_place(std::uint64_t hash) const;
    void fetch_state(std::uint64_t hash) const;
    std::size_t words_each() const { return words_; }
    Fate fate(std::uint32_t state, int more_cuts);
    std::vector<Word> state(std::uint32_t number) const;
    std::size_t states() const { return count_; }
    bool full() const { return full_; }
    const std::vector<Word>& found() const { return found_; }
    bool endless() const { return endless_from_ != no_state; }  // some continued run comes round to the same restart
    std::uint32_t endless_from() const { return endless_from_; }

private:
    OutcomeBits judged(std::uint32_t state);  // with no further cut
    const Word* words(std::uint32_t number) const { return pool_[number / block].get() + number % block * words_; }
    void grow();

    static constexpr std::size_t block = 1u << 17;  // states in a block of the pool
    const Model& m_;
    std::vector<Word> found_;
    std::size_t words_, most_;
    std::vector<std::unique_ptr<Word[]>> pool_;
    // Open addressing: number of the state, and bits of its hash that the place in the table does not tell.
    struct Slot {
        std::uint32_t number = no_state, tag = 0;
    };
    std::vector<Slot> table_;
    std::size_t count_ = 0;
    bool full_ = false;
    std::vector<OutcomeBits> judged_;                             // 0: not yet
    std::vector<std::unordered_map<std::uint32_t, Fate>> fates_;  // by further cuts less one
    std::uint32_t endless_from_ = no_state;
    std::vector<Word> scratch_;
    PowerOn power_;
};

}  // namespace fettle::cutmap
