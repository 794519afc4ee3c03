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

}  // namespace

Outcomes outcomes_of(OutcomeBits bits) {
    Outcomes out;
    for (unsigned i = 0; i < 8; ++i) {
        if ((bits >> i & 1u) != 0) out.insert(static_cast<Outcome>(i));
    }
    return out;
}

Outcome worst_of(OutcomeBits bits) {
    return worst(outcomes_of(bits));
}

void Explorer::grow() {
    const std::size_t size = table_.empty() ? 1024 : table_.size() * 2;
    table_.assign(size, no_state);
    const auto n = static_cast<std::size_t>(m_.words);
    for (std::size_t i = 0; i < count_; ++i) {
        std::size_t at = hash(&pool_[i * n], n) & (size - 1);
        while (table_[at] != no_state) at = (at + 1) & (size - 1);
        table_[at] = static_cast<std::uint32_t>(i);
    }
}

std::uint32_t Explorer::number_of(const std::vector<Word>& s) {
    if (count_ * 2 >= table_.size()) grow();
    const std::size_t n = s.size();
    std::size_t at = hash(s.data(), n) & (table_.size() - 1);
    for (; table_[at] != no_state; at = (at + 1) & (table_.size() - 1)) {
        if (std::equal(s.begin(), s.end(), pool_.begin() + static_cast<std::ptrdiff_t>(table_[at] * n)))
            return table_[at];
    }
    table_[at] = static_cast<std::uint32_t>(count_);
    pool_.insert(pool_.end(), s.begin(), s.end());
    return static_cast<std::uint32_t>(count_++);
}

std::vector<Word> Explorer::state(std::uint32_t number) const {
    const auto n = static_cast<std::ptrdiff_t>(m_.words);
    const auto from = pool_.begin() + static_cast<std::ptrdiff_t>(number) * n;
    return {from, from + n};
}

const Explorer::Judged& Explorer::judged(std::uint32_t number) {
    if (judged_.size() <= number) judged_.resize(std::max<std::size_t>(number + 1, judged_.size() * 2));
    if (judged_[number].known) return judged_[number];
    Judged j;
    j.known = true;
    std::vector<Word> words = state(number);
    const PowerOn p = power_on(m_, State(m_, words.data()), found_);
    if (p.unknown) {
        j.bits = unknown_bits;
    } else if (p.ways.empty()) {
        j.bits = bit_of(p.rest);
    }
    for (const Resume& way : p.ways) {
        if (!way.goes) {
            j.bits |= bit_of(p.rest);
            continue;
        }
        std::vector<Word> end = words;
        const Ending e = run_on(m_, end, way, found_, nullptr);
        j.bits |= bit_of(e.finished ? way.how : e.outcome);
        if (e.endless && !endless_) {
            endless_ = true;
            endless_from_ = number;
        }
        j.ways.push_back(way);
    }
    judged_[number] = std::move(j);
    return judged_[number];
}

namespace {

struct Continue final : Witness {
    Explorer* explorer = nullptr;
    int more = 0;
    Fate fate;
    void moment(int, int) override {}
    void left_behind(const std::vector<Word>& s) override {
        const std::uint32_t next = explorer->number_of(s);
        const OutcomeBits bits = explorer->fate(next, more).bits;
        if (fate.bits == 0 || badness(worst_of(bits)) > badness(worst_of(fate.bits))) fate.worst_next = next;
        fate.bits |= bits;
    }
};

}  // namespace

const Fate& Explorer::fate(std::uint32_t number, int more_cuts) {
    const auto level = static_cast<std::size_t>(more_cuts);
    if (fates_.size() <= level) fates_.resize(level + 1);
    if (fates_[level].size() <= number)
        fates_[level].resize(std::max<std::size_t>(number + 1, fates_[level].size() * 2));
    if (fates_[level][number].known) return fates_[level][number];
    Continue c;
    c.fate.bits = judged(number).bits;
    if (more_cuts > 0) {
        c.explorer = this;
        c.more = more_cuts - 1;
        const std::vector<Resume> ways = judged(number).ways;
        for (const Resume& way : ways) {
            std::vector<Word> words = state(number);
            run_on(m_, words, way, found_, &c);
        }
    }
    c.fate.known = true;
    if (fates_[level].size() <= number) fates_[level].resize(number + 1);
    fates_[level][number] = c.fate;
    return fates_[level][number];
}

}  // namespace fettle::cutmap
