// The last cut need not be explored state by state. No cut comes after it, so all that decides is what boot rules and a
// run to its end can see: which contents occur in each store, and before the place where the run goes on. Millions of
// states share a few thousand such signatures. To find them without building the states, counts of contents are kept up
// to date while the run goes on, and an instant whose counts and cells at risk were met before is passed over.
#include "fettle/cutmap/last_cut.h"

#include <algorithm>

#include "fettle/base/random.h"

namespace fettle::cutmap {
namespace {

constexpr int slots_a_word = 16;
constexpr std::size_t most_words_known = 4u << 20;  // instants are forgotten then, and found again

unsigned occurring(const int* n_each) {
    unsigned mask = 0;
    for (unsigned c = 0; c < 4; ++c) mask |= n_each[c] > 0 ? 1u << c : 0u;
    return mask;
}

}  // namespace

std::size_t WordsHash::operator()(const std::vector<Word>& words) const {
    std::uint64_t h = hash_start;
    for (const Word w : words) h = hash_on(h, w);
    return h;
}

Signatures::Signatures(const Model& m) : m_(m), slots_(2 * static_cast<int>(m.regions.size())) {
    slot_.resize(static_cast<std::size_t>(m.cells), 0);
    for (std::size_t r = 0; r < m.regions.size(); ++r) {
        const ModelRegion& region = m.regions[r];
        for (int store = 0; store < (region.selector < 0 ? 1 : 2); ++store) {
            for (int i = 0; i < region.cells; ++i)
                slot_[static_cast<std::size_t>(region.first[store] + i)] = 2 * static_cast<int>(r) + store;
        }
    }
}

void Signatures::flags_and_place(const State& s, std::vector<Word>& out) const {
    out.assign(s.words() + m_.cell_words, s.words() + m_.words);
    out.back() &= ~(Word{0xffffff} << 16);  // which cell it was is told by the contents before it
}

void Signatures::of(const State& s, std::vector<Word>& out) const {
    flags_and_place(s, out);
    const std::size_t first = out.size();
    out.resize(first + (slots() + slots_a_word) / slots_a_word, 0);  // one place more: what is before the head
    const auto put = [&](std::size_t slot, unsigned mask) {
        out[first + slot / slots_a_word] |= Word{mask} << (slot % slots_a_word * 4);
    };
    for (std::size_t r = 0; r < m_.regions.size(); ++r) {
        const ModelRegion& region = m_.regions[r];
        for (int store = 0; store < (region.selector < 0 ? 1 : 2); ++store)
            put(2 * r + static_cast<std::size_t>(store), s.present(region.first[store], region.cells));
    }
    const ModelAct& act = m_.acts[static_cast<std::size_t>(s.act())];
    if (act.region >= 0 && s.at() > 0) put(slots(), s.present(s.written_first(act), s.at()));
}

LastCut::LastCut(const Model& m, const Signatures& signatures, Judge judge)
    : m_(m), signatures_(signatures), judge_(std::move(judge)) {}

void LastCut::count(int cell, Cell content, int by) {
    const auto slot = static_cast<std::size_t>(signatures_.slot_of(cell));
    int& n = certain_[slot * 4 + static_cast<unsigned>(content)];
    n += by;
    const Word bit = Word{1} << (slot % slots_a_word * 4 + static_cast<unsigned>(content));
    Word& mask = masks_[slot / slots_a_word];
    mask = n > 0 ? mask | bit : mask & ~bit;
    if (prefix_first_ <= cell && cell < prefix_end_) prefix_[static_cast<unsigned>(content)] += by;
}

void LastCut::begins(const State& s, const std::vector<AtRisk>& risks) {
    prefix_first_ = prefix_end_ = -1;
    certain_.assign(signatures_.slots() * 4, 0);
    masks_.assign((signatures_.slots() + slots_a_word) / slots_a_word, 0);
    uncertain_.assign(static_cast<std::size_t>(m_.cells), 0);
    for (std::size_t r = 0; r < m_.regions.size(); ++r) {
        const ModelRegion& region = m_.regions[r];
        for (std::size_t store = 0; store < (region.selector < 0 ? 1 : 2); ++store) {
            const std::size_t slot = 2 * r + store;
            s.count(region.first[store], region.cells, &certain_[slot * 4]);
            masks_[slot / slots_a_word] |= Word{occurring(&certain_[slot * 4])} << (slot % slots_a_word * 4);
        }
    }
    for (const AtRisk& risk : risks) opens(risk.cell, s.cell(risk.cell));
}

void LastCut::opens(int cell, Cell content) {
    if (uncertain_[static_cast<std::size_t>(cell)] != 0) return;
    count(cell, content, -1);
    uncertain_[static_cast<std::size_t>(cell)] = 1;
}

void LastCut::settles(int cell) {
    count(cell, Cell::new_release, 1);
    uncertain_[static_cast<std::size_t>(cell)] = 0;
}

// The contents that occur for certain in the act's store before the head.
unsigned LastCut::before_head(const State& s, int head) {
    const int first = head - s.at();
    if (prefix_first_ != first || prefix_end_ > head) {
        prefix_first_ = prefix_end_ = first;
        std::fill(std::begin(prefix_), std::end(prefix_), 0);
    }
    for (; prefix_end_ < head; ++prefix_end_)
        if (uncertain_[static_cast<std::size_t>(prefix_end_)] == 0)
            ++prefix_[static_cast<unsigned>(s.cell(prefix_end_))];
    return occurring(prefix_);
}

// Of each cell at risk its slot, its content before, and its side of the head. Of more than four of one region, which
// are not combined one by one: the first, the last, and which there are between them.
void LastCut::add_risks(const std::vector<AtRisk>& risks, int from, int head) {
    int room = 0;
    const auto put = [&](Word sixteen) {
        if (room == 0) key_.push_back(0), room = 64;
        room -= 16;
        key_.back() |= sixteen << room;
    };
    const auto one = [&](const AtRisk& r) {
        const bool ahead = from <= r.cell && r.cell < head;
        return Word{static_cast<unsigned>(signatures_.slot_of(r.cell)) << 4 | static_cast<unsigned>(r.before) << 2 |
                    (ahead ? 2u : 0u) | 1u};
    };
    if (static_cast<int>(risks.size()) <= all_combinations_up_to) {
        for (const AtRisk& r : risks) put(one(r));
        return;
    }
    for (int region = 0; region < static_cast<int>(m_.regions.size()); ++region) {
        const auto here = [&](const AtRisk& r) { return r.region == region; };
        const auto n = std::count_if(risks.begin(), risks.end(), here);
        unsigned between = 0;
        std::ptrdiff_t i = 0;
        for (const AtRisk& r : risks) {
            if (!here(r)) continue;
            if (n <= all_combinations_up_to || i == 0 || i == n - 1) put(one(r));
            if (i > 0 && i < n - 1) between |= 1u << ((one(r) >> 1 & 7u) + (one(r) >> 4 & 1u) * 8);
            ++i;
        }
        if (n > all_combinations_up_to) put(between), put(0xffff);
    }
}

// The key of an instant holds everything that decides which signatures it can leave: flags and place, what is certain,
// the head's content before, and the cells at risk.
bool LastCut::look(const State& s, const std::vector<AtRisk>& risks, int head, Cell before) {
    close();
    work_ += 1 + risks.size() / 2;
    signatures_.flags_and_place(s, key_);
    key_.insert(key_.end(), masks_.begin(), masks_.end());
    key_.push_back(head < 0 ? 0 : 64u + before_head(s, head) + (static_cast<Word>(before) << 4));
    add_risks(risks, head < 0 ? -1 : head - s.at(), head);
    if (last_ != nullptr && key_ == last_key_) {
        met_ += last_->states;
        return false;
    }
    words_known_ += key_.size() + 8;
    if (words_known_ > most_words_known) {
        known_.clear();
        words_known_ = 0;
    }
    const auto [at, is_new] = known_.try_emplace(key_);
    last_ = &at->second;
    last_key_ = key_;
    open_ = is_new;
    if (is_new) return true;
    bits_ |= last_->bits;
    met_ += last_->states;
    return false;
}

void LastCut::left_behind(const std::vector<Word>& state) {
    last_->bits |= judge_(state);
    ++last_->states;
}

void LastCut::close() {
    if (!open_) return;
    open_ = false;
    bits_ |= last_->bits;
    met_ += last_->states;
}

void LastCut::start() {
    bits_ = 0;
    last_ = nullptr;
}

OutcomeBits LastCut::bits() {
    close();
    return bits_;
}

}  // namespace fettle::cutmap
