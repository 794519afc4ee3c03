// Exhaustive exploration: every state that up to k cuts can leave behind. Those with cuts still to come are kept, each
// once; of the last cut's only what they come to is (last_cut.h).
#pragma once

#include <cstdint>
#include <limits>
#include <memory>
#include <unordered_map>
#include <vector>

#include "fettle/cutmap/last_cut.h"
#include "fettle/cutmap/run.h"

namespace fettle::cutmap {

inline constexpr std::uint32_t no_state = std::numeric_limits<std::uint32_t>::max();
inline constexpr std::uint64_t usual_most_work = 200'000'000;  // ten seconds or less

class Explorer {
public:
    // At most `room_bytes` are taken for states, and so many instants of last cuts are looked at; what goes beyond is
    // left out, and full() says so.
    Explorer(const Model& m, std::vector<Word> found, std::size_t room_bytes,
             std::uint64_t most_work = usual_most_work);

    // The same number for the same state; no_state: no room.
    std::uint32_t number_of(const std::vector<Word>& state) { return number_of(state.data(), hash_of(state.data())); }
    std::uint32_t number_of(const Word* state, std::uint64_t hash);
    // Asked in this order for several states before their numbers, they are on their way when they are wanted.
    std::uint64_t hash_of(const Word* state) const;
    void fetch_place(std::uint64_t hash) const;
    void fetch_state(std::uint64_t hash) const;
    std::size_t words_each() const { return words_; }
    // What follows from a state with so many cuts still to come. In the second form of a state that may have no number:
    // nothing if there is no room for one.
    OutcomeBits fate(std::uint32_t state, int more_cuts);
    OutcomeBits fate(const std::vector<Word>& state, int more_cuts);
    // The state that the next cut of a worst example leaves; empty: a cut makes nothing worse.
    std::vector<Word> worst_next(const std::vector<Word>& state, int more_cuts);
    std::vector<Word> state(std::uint32_t number) const;
    std::size_t states() const { return count_; }
    std::uint64_t met() const { return last_cut_.met(); }  // states of last cuts, met twice counted twice
    bool full() const { return full_; }
    const std::vector<Word>& found() const { return found_; }
    bool endless() const { return !endless_from_.empty(); }  // some continued run comes round to the same restart
    const std::vector<Word>& endless_from() const { return endless_from_; }

private:
    OutcomeBits judged(const std::vector<Word>& state);  // with no further cut
    const Word* words(std::uint32_t number) const { return pool_[number / block].get() + number % block * words_; }
    void grow();

    static constexpr std::size_t block = 1u << 17;  // states in a block of the pool
    const Model& m_;
    std::vector<Word> found_;
    std::size_t words_, most_;
    std::uint64_t most_work_;
    std::vector<std::unique_ptr<Word[]>> pool_;
    // Open addressing: number of the state, and bits of its hash that the place in the table does not tell.
    struct Slot {
        std::uint32_t number = no_state, tag = 0;
    };
    std::vector<Slot> table_;
    std::size_t count_ = 0;
    bool full_ = false;
    Signatures signatures_;
    std::unordered_map<std::vector<Word>, OutcomeBits, WordsHash> judged_;  // by signature
    std::vector<Word> signature_;
    LastCut last_cut_;
    std::vector<std::vector<OutcomeBits>> fates_;  // by further cuts less one, and number; 0: not yet
    std::vector<Word> endless_from_;
    std::vector<Word> scratch_;
    PowerOn power_;
};

}  // namespace fettle::cutmap
