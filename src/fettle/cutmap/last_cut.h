// The last cut of an example. What follows from a state with no cut to come depends on what the boot rules and a run to
// its end can see, not on which cell is which: its signature. States of one signature are judged once, and instants
// that leave the same signatures are gone through once; neither is stored as a state. docs/plan.md has the argument.
#pragma once

#include <cstdint>
#include <functional>
#include <unordered_map>
#include <vector>

#include "fettle/cutmap/run.h"

namespace fettle::cutmap {

struct WordsHash {
    std::size_t operator()(const std::vector<Word>& words) const;
};

// All that boot rules, "nothing changed", "done" and a run on to the end can tell of a state: flags, place and marks,
// the contents that occur in each store, and those before the cell at which the run was cut.
class Signatures {
public:
    explicit Signatures(const Model& m);
    void of(const State& s, std::vector<Word>& out) const;

    std::size_t slots() const { return static_cast<std::size_t>(slots_); }
    int slot_of(int cell) const { return slot_[static_cast<std::size_t>(cell)]; }
    // Everything but contents: flags, and the last word without the cell's number.
    void flags_and_place(const State& s, std::vector<Word>& out) const;

private:
    const Model& m_;
    int slots_;              // two a region
    std::vector<int> slot_;  // of a cell
};

// Sees a run for the last cut: `bits` collects what its instants come to.
class LastCut final : public Witness {
public:
    using Judge = std::function<OutcomeBits(const std::vector<Word>& state)>;
    LastCut(const Model& m, const Signatures& signatures, Judge judge);

    void start();
    OutcomeBits bits();
    std::uint64_t met() const { return met_; }    // states that cuts left behind, one met twice counted twice
    std::uint64_t work() const { return work_; }  // instants looked at, those with many cells at risk counted for more

    void moment(int, int) override {}
    bool look(const State& s, const std::vector<AtRisk>& risks, int head, Cell before) override;
    void left_behind(const std::vector<Word>& state) override;
    void begins(const State& s, const std::vector<AtRisk>& risks) override;
    void opens(int cell, Cell content) override;
    void settles(int cell) override;

private:
    struct Instant {
        OutcomeBits bits = 0;
        std::uint64_t states = 0;
    };
    void count(int cell, Cell content, int by);
    unsigned before_head(const State& s, int head);
    void add_risks(const std::vector<AtRisk>& risks, int from, int head);
    void close();

    const Model& m_;
    const Signatures& signatures_;
    Judge judge_;
    std::unordered_map<std::vector<Word>, Instant, WordsHash> known_;
    std::size_t words_known_ = 0;
    Instant* last_ = nullptr;  // of the run's last instant
    std::vector<Word> key_, last_key_;
    OutcomeBits bits_ = 0;
    std::uint64_t met_ = 0, work_ = 0;
    bool open_ = false;  // last_ is being gone through
    // Cells whose content is certain: how many of each content in each slot; and of the act's store those before the
    // head.
    std::vector<int> certain_;
    std::vector<Word> masks_;
    std::vector<char> uncertain_;
    int prefix_first_ = -1, prefix_end_ = -1;
    int prefix_[4] = {};
};

}  // namespace fettle::cutmap
