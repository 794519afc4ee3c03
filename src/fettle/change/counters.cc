#include "fettle/change/counters.h"

#include <fmt/format.h>

#include <algorithm>

namespace fettle::change {

Counter counter_from(std::optional<std::int64_t> figure, std::int64_t floor) {
    if (figure && *figure >= floor) return {*figure, *figure};
    return {floor, Counter::highest};
}

std::int64_t floor_of(const family::Family& family, const std::string& release) {
    std::int64_t floor = Counter::lowest;
    for (const auto& k : family.known) {
        if (!k.one_way_door || !k.counter || release.empty()) continue;
        const auto past = family::compare_versions(family.order, release, k.release);
        if (past && *past >= 0) floor = std::max(floor, *k.counter);
    }
    return floor;
}

Counter counter_in(const family::Family& family, const BoxState& box) {
    const std::int64_t floor = std::max(box.counter_at_least.value_or(Counter::lowest), floor_of(family, box.release));
    return counter_from(box.counter ? box.counter : counter_of(family, box.release), floor);
}

Counter counter_left(const family::Family& family, const family::Release& release) {
    const auto by_file = counter_of(family, release.release);
    if (!release.counter && !by_file) return {};
    const std::int64_t a = release.counter.value_or(by_file.value_or(0)), b = by_file.value_or(a);
    return {std::min(a, b), std::max(a, b)};
}

bool is_of(const family::Family& family, const family::Release& release) {
    return release.family.empty() || release.family == family.id;
}

family::Family with_doors(const family::Family& family, const std::vector<family::Release>& shelf,
                          const SetState& set) {
    const auto can_have_had = [&](const family::Release& r) {
        const auto is_for = [&](const auto& box) {
            const std::string& market = box.second.market;
            return market.empty() || std::find(r.markets.begin(), r.markets.end(), market) != r.markets.end();
        };
        return is_of(family, r) && (r.markets.empty() || std::any_of(set.begin(), set.end(), is_for));
    };
    family::Family out = family;
    for (const auto& r : shelf) {
        if (!r.one_way_door || !can_have_had(r)) continue;
        auto at =
            std::find_if(out.known.begin(), out.known.end(), [&](const auto& k) { return k.release == r.release; });
        if (at == out.known.end()) at = out.known.insert(at, {r.release, r.counter, false, true, {}});
        at->one_way_door = true;
        if (!at->counter) at->counter = r.counter;
    }
    return out;
}

Truth takes(const Counter& box, const Counter& left) {
    if (left.low == Counter::lowest) return Truth::unknown;
    return left.low < box.low ? Truth::no : left.low >= box.high ? Truth::yes : Truth::unknown;
}

Counter counter_after(const Counter& box, const Counter& left) {
    return {std::max(box.low, left.low), std::max(box.low, left.high)};
}

std::string words(const Counter& c) {
    if (c.known()) return std::to_string(c.low);
    if (c.low == Counter::lowest) return "not known";
    return c.high == Counter::highest ? fmt::format("{} or more", c.low) : fmt::format("{} to {}", c.low, c.high);
}

}  // namespace fettle::change
