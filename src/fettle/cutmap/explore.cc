// Every state that up to k cuts can leave, by working backwards from what each comes to: the fate of a state with k
// cuts to come is its own judgement and the fates, with k - 1, of all states that a cut of the continued run leaves.
// Each state has a number and is asked once. Tens of millions are looked up, so the table is one block of memory, and
// states are fetched some at a time before they are compared: waiting for memory would be most of the work.
#include "fettle/cutmap/explore.h"

#include <algorithm>

#include "fettle/base/large_pages.h"
#include "fettle/base/random.h"

namespace fettle::cutmap {
namespace {

constexpr std::uint16_t unknown_bits =
    (1u << static_cast<unsigned>(Outcome::goes_on_by_itself)) | (1u << static_cast<unsigned>(Outcome::same_card)) |
    (1u << static_cast<unsigned>(Outcome::rests_unfinished)) | (1u << static_cast<unsigned>(Outcome::starts_no_net)) |
    (1u << static_cast<unsigned>(Outcome::bench_repair)) | (1u << static_cast<unsigned>(Outcome::lost));

std::uint32_t tag_of(std::uint64_t h) {
    return static_cast<std::uint32_t>(h >> 32);
}

}  // namespace

Explorer::Explorer(const Model& m, std::vector<Word> found, std::size_t room_bytes, std::uint64_t most_work)
    : m_(m),
      found_(std::move(found)),
      words_(static_cast<std::size_t>(m.words)),
      most_work_(most_work),
      signatures_(m),
      last_cut_(m, signatures_, [this](const std::vector<Word>& s) { return judged(s); }) {
    // A state, its outcomes, and its part of a table that is half to a quarter full and grows by being made again.
    const std::size_t each = words_ * sizeof(Word) + sizeof(OutcomeBits) + 4 * sizeof(Slot);
    most_ = std::max<std::size_t>(1, room_bytes / each);
}

std::uint64_t Explorer::hash_of(const Word* w) const {
    std::uint64_t h = hash_start;
    for (std::size_t i = 0; i < words_; ++i) h = hash_on(h, w[i]);
    return h;
}

void Explorer::fetch_place(std::uint64_t h) const {
    if (!table_.empty()) __builtin_prefetch(&table_[h & (table_.size() - 1)]);
}

void Explorer::fetch_state(std::uint64_t h) const {
    if (table_.empty()) return;
    std::size_t at = h & (table_.size() - 1);
    for (; table_[at].number != no_state; at = (at + 1) & (table_.size() - 1)) {
        if (table_[at].tag != tag_of(h)) continue;
        __builtin_prefetch(words(table_[at].number));
        return;
    }
}

void Explorer::grow() {
    std::vector<Slot> old;
    old.swap(table_);
    table_.reserve(std::max<std::size_t>(1024, old.size() * 2));
    expect_anywhere(table_.data(), table_.capacity() * sizeof(Slot));
    table_.resize(table_.capacity());
    for (std::size_t i = 0; i < count_; ++i) {
        const std::uint64_t h = hash_of(words(static_cast<std::uint32_t>(i)));
        std::size_t at = h & (table_.size() - 1);
        while (table_[at].number != no_state) at = (at + 1) & (table_.size() - 1);
        table_[at] = {static_cast<std::uint32_t>(i), tag_of(h)};
    }
}

std::uint32_t Explorer::number_of(const Word* s, std::uint64_t h) {
    if (count_ * 2 >= table_.size()) grow();
    std::size_t at = h & (table_.size() - 1);
    for (; table_[at].number != no_state; at = (at + 1) & (table_.size() - 1)) {
        if (table_[at].tag == tag_of(h) && std::equal(s, s + words_, words(table_[at].number)))
            return table_[at].number;
    }
    if (count_ >= most_) {
        full_ = true;
        return no_state;
    }
    if (count_ == pool_.size() * block) {
        pool_.push_back(std::make_unique_for_overwrite<Word[]>(block * words_));
        expect_anywhere(pool_.back().get(), block * words_ * sizeof(Word));
    }
    const auto number = static_cast<std::uint32_t>(count_++);
    table_[at] = {number, tag_of(h)};
    std::copy(s, s + words_, pool_.back().get() + number % block * words_);
    return number;
}

std::vector<Word> Explorer::state(std::uint32_t number) const {
    return {words(number), words(number) + words_};
}

OutcomeBits Explorer::judged(const std::vector<Word>& state) {
    scratch_ = state;
    const State s(m_, scratch_.data());
    signatures_.of(s, signature_);
    const auto [at, is_new] = judged_.try_emplace(signature_, 0);
    if (!is_new) return at->second;
    power_on(m_, s, found_, power_);
    OutcomeBits bits = 0;
    if (power_.unknown) {
        bits = unknown_bits;
    } else if (power_.ways.empty()) {
        bits = bit_of(power_.rest);
    }
    for (const Resume& way : power_.ways) {
        if (!way.goes) {
            bits |= bit_of(power_.rest);
            continue;
        }
        const Followed f = follow(m_, state, way, found_, nullptr);
        bits |= f.bits;
        if (f.endless && !endless()) endless_from_ = state;
    }
    return at->second = bits;
}

namespace {

// What the states left behind come to. They are looked up a few at a time: most of the work is waiting for memory.
class Continue final : public Witness {
public:
    Continue(Explorer& explorer, int more) : explorer_(explorer), more_(more), held_(at_once * explorer.words_each()) {}
    void moment(int, int) override {}
    void left_behind(const std::vector<Word>& s) override {
        std::copy(s.begin(), s.end(), held_.begin() + static_cast<std::ptrdiff_t>(n_ * s.size()));
        hash_[n_] = explorer_.hash_of(s.data());
        explorer_.fetch_place(hash_[n_]);
        if (++n_ == at_once) look_up();
    }
    void look_up() {
        for (std::size_t i = 0; i < n_; ++i) explorer_.fetch_state(hash_[i]);
        for (std::size_t i = 0; i < n_; ++i) {
            if (explorer_.full()) break;
            const auto next = explorer_.number_of(&held_[i * explorer_.words_each()], hash_[i]);
            if (next != no_state) bits |= explorer_.fate(next, more_);
        }
        n_ = 0;
    }
    OutcomeBits bits = 0;

private:
    static constexpr std::size_t at_once = 32;
    Explorer& explorer_;
    int more_;
    std::vector<Word> held_;
    std::uint64_t hash_[at_once] = {};
    std::size_t n_ = 0;
};

// The first state that comes to something as bad as that.
class Seek final : public Witness {
public:
    Seek(Explorer& explorer, int more, int badness) : explorer_(explorer), more_(more), badness_(badness) {}
    void moment(int, int) override {}
    void left_behind(const std::vector<Word>& s) override {
        if (!found.empty()) return;
        const OutcomeBits bits = explorer_.fate(s, more_);
        if (bits != 0 && badness(worst_of(bits)) >= badness_) found = s;
    }
    std::vector<Word> found;

private:
    Explorer& explorer_;
    int more_, badness_;
};

}  // namespace

OutcomeBits Explorer::fate(const std::vector<Word>& state, int more_cuts) {
    if (more_cuts <= 0) return judged(state);
    const std::uint32_t number = number_of(state);
    return number == no_state ? OutcomeBits{0} : fate(number, more_cuts);
}

OutcomeBits Explorer::fate(std::uint32_t number, int more_cuts) {
    const std::vector<Word> words = state(number);
    if (more_cuts <= 0) return judged(words);
    const auto level = static_cast<std::size_t>(more_cuts) - 1;
    if (fates_.size() <= level) fates_.resize(level + 1);
    if (fates_[level].size() <= number) fates_[level].resize(pool_.size() * block, 0);
    if (fates_[level][number] != 0) return fates_[level][number];
    OutcomeBits bits = judged(words);
    std::vector<Word> read = words;
    const PowerOn p = power_on(m_, State(m_, read.data()), found_);
    if (more_cuts == 1) {
        full_ = full_ || last_cut_.work() > most_work_;
        if (full_) return bits;
        last_cut_.start();
        for (const Resume& way : p.ways) {
            if (way.goes) follow(m_, words, way, found_, &last_cut_);
        }
        bits |= last_cut_.bits();
    } else {
        Continue c(*this, more_cuts - 1);
        for (const Resume& way : p.ways) {
            if (way.goes) follow(m_, words, way, found_, &c);
        }
        c.look_up();
        bits |= c.bits;
    }
    return fates_[level][number] = bits;
}

std::vector<Word> Explorer::worst_next(const std::vector<Word>& state, int more_cuts) {
    const OutcomeBits whole = fate(state, more_cuts);
    if (more_cuts <= 0 || whole == 0 || badness(worst_of(whole)) <= badness(worst_of(judged(state)))) return {};
    Seek seek(*this, more_cuts - 1, badness(worst_of(whole)));
    std::vector<Word> words = state;
    const PowerOn p = power_on(m_, State(m_, words.data()), found_);
    for (const Resume& way : p.ways) {
        if (way.goes) follow(m_, state, way, found_, &seek);
    }
    return seek.found;
}

}  // namespace fettle::cutmap
