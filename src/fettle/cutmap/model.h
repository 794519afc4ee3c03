// The family file and one change sheet, compiled to indices for the exploration. A cell is what is written as a whole:
// a piece, or a region written as one image. Only cells that the step writes are modelled: a kept piece is of both
// releases at once and never stands against a boot rule.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fettle/change/change.h"
#include "fettle/family/family.h"

namespace fettle::cutmap {

using Word = std::uint64_t;

enum class Cell : unsigned {
    old_release = 0,
    new_release = 1,
    torn = 2,
    other_release = 3,  // whole, of a third release: what a spare store may hold as found
};

struct ModelRegion {
    const family::Region* file = nullptr;
    int box = 0;
    int selector = -1;  // flag that names the active store; -1: one store
    int first[2] = {0, 0};
    int cells = 0;                   // per store
    std::vector<std::string> names;  // of the cells
    std::vector<double> least_s;     // a cell takes at least this long (4 standard deviations below its median)
    bool buffers() const { return !file->buffered_s || *file->buffered_s > 0; }
};

struct ModelFlag {
    const family::Flag* file = nullptr;
    int box = 0;
    int start = 0;
    int last_set = -1;      // the last act that sets it; -1: none does
    bool selector = false;  // names the active store of a region, or is set to "other": index 0 "a", 1 "b"
};

struct ModelAct {
    const family::Act* file = nullptr;
    int box = -1;     // -1: all
    int region = -1;  // write
    int cells = 0;
    int flag = -1;   // set
    int value = -1;  // -1: the other store than the one active when the run began
    double least_s = 0;
    family::ActKind kind = family::ActKind::wait;
    bool spare = false, forced = false;
    int into = -1;  // restart: 1 normal, 0 recovery, -1 either
    // By box: without power for it the act breaks off (the act's own box, and the one that writes it); and the mode
    // that it is expected to be in, as `into`.
    std::vector<bool> needs;
    std::vector<int> expects;
};

// One way in which a boot rule lets a broken run go on; an "unknown" in the family file stands for all its values.
struct Going {
    bool goes = false;
    bool with_card = false;
    enum class From { cell, act, start } from = From::start;
    bool rewrite = true;  // cells already whole and new are written again
};

struct ModelRule {
    const family::BootRule* file = nullptr;
    int box = 0;
    bool spare = false;
    bool same_release = true;
    std::vector<int> regions;
    std::vector<std::pair<int, int>> when;  // flag, value
    bool normal = false;
    bool net = false;
    bool by_card = false;       // goes on with the card, whatever else is not known
    std::vector<Going> goings;  // at least one
    bool goes() const { return goings.size() > 1 || goings.front().goes; }
};

struct ModelBox {
    const family::Box* file = nullptr;
    int supply = 0;
    std::vector<int> rules;  // in order
};

struct Model {
    const family::Family* family = nullptr;
    std::vector<ModelBox> boxes;
    std::vector<ModelRegion> regions;
    std::vector<ModelFlag> flags;
    std::vector<ModelAct> acts;
    std::vector<ModelRule> rules;
    int cells = 0;       // of all stores
    int cell_words = 0;  // words that hold them, 32 a word
    int words = 0;       // of a whole state
    int held = 0;        // first word of what boxes still hold back; only where there is more than one supply
    int supplies = 1;
    bool unknown_buffering = false;
    bool two_stores = false;

    bool in_box(const ModelAct& act, int box) const { return act.box < 0 || act.box == box; }
    // Cuts are of one supply, or of all at once: kind 0 of all, n of supply n - 1 alone.
    int cut_kinds() const { return supplies == 1 ? 1 : supplies + 1; }
    bool loses_power(int cut_kind, int box) const {
        return cut_kind == 0 || boxes[static_cast<std::size_t>(box)].supply == cut_kind - 1;
    }
    bool breaks_off(int act, int cut_kind) const;
};

// Throws std::invalid_argument when a rule or act names what the family file does not have: the loader refuses such a
// file, so this is a caller's bug.
Model compile(const family::Family& family, const change::ChangeSheet& sheet);

// One state: what survives a loss of power, and where the run was. Packed in Model::words words: cells at two bits
// each, flags at four bits each, and one word with act, cell, the durable mark of a planned restart, which store was
// active when the run began, and, where there is more than one supply, which was cut and whether the run that goes on
// writes again what is whole and new. There too, before that word: what each cell that a box with power has not put on
// the medium yet was before, two bits each, and which cells those are.
class State {
public:
    State(const Model& model, Word* words) : m_(&model), w_(words) {}
    const Word* words() const { return w_; }

    Cell cell(int i) const { return static_cast<Cell>((w_[i / 32] >> (i % 32 * 2)) & 3u); }
    void set_cell(int i, Cell c) {
        const int shift = i % 32 * 2;
        w_[i / 32] = (w_[i / 32] & ~(Word{3} << shift)) | (static_cast<Word>(c) << shift);
    }
    void fill_new(int first, int n);  // cells first … first+n−1
    // Which of the four contents occur among cells first … first+n−1: bit (1 << content).
    unsigned present(int first, int n) const;
    // How many cells of each content there are among them, added to n_each[content].
    void count(int first, int n, int* n_each) const;

    int flag(int f) const { return static_cast<int>((w_[m_->cell_words + f / 16] >> (f % 16 * 4)) & 15u); }
    void set_flag(int f, int v) {
        Word& w = w_[m_->cell_words + f / 16];
        w = (w & ~(Word{15} << (f % 16 * 4))) | (static_cast<Word>(v) << (f % 16 * 4));
    }

    int act() const { return static_cast<int>(meta() & 0xffffu); }
    int at() const { return static_cast<int>((meta() >> 16) & 0xffffffu); }
    void go(int act, int cell) {
        meta() = (meta() & ~Word{0xffffffffffu}) | static_cast<Word>(act) | (static_cast<Word>(cell) << 16);
    }
    bool mark() const { return ((meta() >> 40) & 1u) != 0; }
    void set_mark(bool on) { meta() = (meta() & ~(Word{1} << 40)) | (static_cast<Word>(on) << 40); }

    int cut_kind() const { return static_cast<int>((meta() >> 61) & 3u); }
    bool rewriting() const { return (meta() >> 63) != 0; }
    void set_cut(int kind, bool rewriting) {
        meta() = (meta() & ~(Word{7} << 61)) | (static_cast<Word>(kind) << 61) | (static_cast<Word>(rewriting) << 63);
    }
    // Cells that a box with power still holds back; none where there is one supply.
    bool held_back(int i) const {
        return m_->supplies > 1 && ((w_[m_->held + m_->cell_words + i / 32] >> (i % 32 * 2)) & 1u) != 0;
    }
    Cell held_before(int i) const { return static_cast<Cell>((w_[m_->held + i / 32] >> (i % 32 * 2)) & 3u); }
    void hold_back(int i, Cell before) {
        w_[m_->held + i / 32] |= static_cast<Word>(before) << (i % 32 * 2);
        w_[m_->held + m_->cell_words + i / 32] |= Word{1} << (i % 32 * 2);
    }
    void hold_nothing() {
        if (m_->supplies > 1) std::fill_n(w_ + m_->held, 2 * m_->cell_words, Word{0});
    }

    // The store that was active when the run began, by region; and the run begins now.
    int active_at_start(int selector) const { return static_cast<int>((meta() >> (41 + selector)) & 1u); }
    void begin_run();

    // First cell of the store that the act writes, or that a rule means (spare or active by the flag as it stands).
    int written_first(const ModelAct& act) const;
    int store_first(const ModelRegion& region, bool spare) const;

private:
    Word& meta() { return w_[m_->words - 1]; }
    Word meta() const { return w_[m_->words - 1]; }
    const Model* m_;
    Word* w_;
};

// The state as found, at rest before the first act. spare: what the spare stores hold.
std::vector<Word> as_found(const Model& model, Cell spare);

}  // namespace fettle::cutmap
