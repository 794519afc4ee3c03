#include "fettle/cutmap/explore.h"

#include <algorithm>

namespace fettle::cutmap {
namespace {

constexpr std::uint16_t unknown_bits =
    (1u << static_cast<unsigned>(Outcome::goes_on_by_itself)) | (1u << static_cast<unsigned>(Outcome::same_card)) |
    (1u << static_cast<unsigned>(Outcome::rests_unfinished)) | (1u << static_cast<unsigned>(Outcome::starts_no_net)) |
    (1u << static_cast<unsigned>(Outcome::bench_repair)) | (1u << static_cast<unsigned>(Outcome::lost));

std::uint64_t hash(const Word* w, std::size_t n) {
    std::uint64_t h = 0x9e3779b97f4a7c15u;
    for (std::size_t i = 0; i < n; ++i) {
        h = (h ^ w[i]) * 0xff51afd7ed558ccdu;
        h ^= h >> 32;
    }
    return h;
}

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

void Explorer::grow() {
    std::vector<Slot> old(std::max<std::size_t>(1024, table_.size() * 2));
    old.swap(table_);
    for (std::size_t i = 0; i < count_; ++i) {
        const std::uint64_t h = hash(words(static_cast<std::uint32_t>(i)), words_);
        std::size_t at = h & (table_.size() - 1);
        while (table_[at].number != no_state) at = (at + 1) & (table_.size() - 1);
        table_[at] = {static_cast<std::uint32_t>(i), tag_of(h)};
    }
}

std::uint32_t Explorer::number_of(const std::vector<Word>& s) {
    if (count_ * 2 >= table_.size()) grow();
    const std::uint64_t h = hash(s.data(), words_);
    std::size_t at = h & (table_.size() - 1);
    for (; table_[at].number != no_state; at = (at + 1) & (table_.size() - 1)) {
        if (table_[at].tag == tag_of(h) && std::equal(s.begin(), s.end(), words(table_[at].number)))
            return table_[at].number;
    }
    if (count_ >= most_) {
        full_ = true;
        return no_state;
    }
    if (count_ == pool_.size() * block) pool_.push_back(std::make_unique_for_overwrite<Word[]>(block * words_));
    const auto number = static_cast<std::uint32_t>(count_++);
    table_[at] = {number, tag_of(h)};
    std::copy(s.begin(), s.end(), pool_.back().get() + number % block * words_);
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

struct Continue final : Witness {
    Explorer* explorer = nullptr;
    int more = 0;
    Fate fate;
    void moment(int, int) override {}
    void left_behind(const std::vector<Word>& s) override {
        const std::uint32_t next = explorer->number_of(s);
        if (next == no_state) return;
        const OutcomeBits bits = explorer->fate(next, more).bits;
        if ((bits & ~fate.bits) == 0) return;
        if (fate.bits == 0 || badness(worst_of(bits)) > badness(worst_of(fate.bits))) fate.worst_next = next;
        fate.bits |= bits;
    }
};

}  // namespace

Fate Explorer::fate(std::uint32_t number, int more_cuts) {
    if (more_cuts <= 0) return {judged(number), no_state};
    const auto level = static_cast<std::size_t>(more_cuts) - 1;
    if (fates_.size() <= level) fates_.resize(level + 1);
    if (const auto known = fates_[level].find(number); known != fates_[level].end()) return known->second;
    Continue c;
    c.explorer = this;
    c.more = more_cuts - 1;
    c.fate.bits = judged(number);
    std::vector<Word> words = state(number);
    const PowerOn p = power_on(m_, State(m_, words.data()), found_);
    for (const Resume& way : p.ways) {
        if (way.goes) follow(m_, words, way, found_, &c);
    }
    fates_[level].emplace(number, c.fate);
    return c.fate;
}

}  // namespace fettle::cutmap
