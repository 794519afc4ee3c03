#include "fettle/cutmap/explore.h"

#include <algorithm>

#include "fettle/base/large_pages.h"

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

Explorer::Explorer(const Model& m, std::vector<Word> found, std::size_t room_bytes)
    : m_(m), found_(std::move(found)), words_(static_cast<std::size_t>(m.words)) {
    // A state, its outcomes, and its part of a table that is half to a quarter full and grows by being made anew.
    const std::size_t each = words_ * sizeof(Word) + sizeof(OutcomeBits) + 4 * sizeof(Slot);
    most_ = std::max<std::size_t>(1, room_bytes / each);
}

std::uint64_t Explorer::hash_of(const Word* w) const {
    std::uint64_t h = 0x9e3779b97f4a7c15u;
    for (std::size_t i = 0; i < words_; ++i) {
        h = (h ^ w[i]) * 0xff51afd7ed558ccdu;
        h ^= h >> 32;
    }
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

OutcomeBits Explorer::judged(std::uint32_t number) {
    if (judged_.size() < count_) judged_.resize(pool_.size() * block, 0);
    if (judged_[number] != 0) return judged_[number];
    scratch_.assign(words(number), words(number) + words_);
    power_on(m_, State(m_, scratch_.data()), found_, power_);
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
        const Followed f = follow(m_, scratch_, way, found_, nullptr);
        bits |= f.bits;
        if (f.endless && !endless()) endless_from_ = number;
    }
    return judged_[number] = bits;
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
        for (std::size_t i = 0; i < n_; ++i) see(explorer_.number_of(&held_[i * explorer_.words_each()], hash_[i]));
        n_ = 0;
    }
    Fate fate;

private:
    void see(std::uint32_t next) {
        if (next == no_state) return;
        const OutcomeBits bits = explorer_.fate(next, more_).bits;
        if ((bits & ~fate.bits) == 0) return;
        if (fate.bits == 0 || badness(worst_of(bits)) > badness(worst_of(fate.bits))) fate.worst_next = next;
        fate.bits |= bits;
    }

    static constexpr std::size_t at_once = 32;
    Explorer& explorer_;
    int more_;
    std::vector<Word> held_;
    std::uint64_t hash_[at_once] = {};
    std::size_t n_ = 0;
};

}  // namespace

Fate Explorer::fate(std::uint32_t number, int more_cuts) {
    if (more_cuts <= 0) return {judged(number), no_state};
    const auto level = static_cast<std::size_t>(more_cuts) - 1;
    if (fates_.size() <= level) fates_.resize(level + 1);
    if (const auto known = fates_[level].find(number); known != fates_[level].end()) return known->second;
    Continue c(*this, more_cuts - 1);
    c.fate.bits = judged(number);
    std::vector<Word> words = state(number);
    const PowerOn p = power_on(m_, State(m_, words.data()), found_);
    for (const Resume& way : p.ways) {
        if (way.goes) follow(m_, words, way, found_, &c);
    }
    c.look_up();
    fates_[level].emplace(number, c.fate);
    return c.fate;
}

}  // namespace fettle::cutmap
