#include "fettle/watch/playback.h"

#include <algorithm>

namespace fettle::watch {
namespace {

// A run that is over for days is not filtered second by second: after so long nothing changes any more.
constexpr double kLongest_s = 3 * 3600;
constexpr double kEver_s = 1e9;

// The greatest power of two that divides it; for 0, more than any second.
long roundness(long second) {
    return second == 0 ? static_cast<long>(kEver_s) : second & -second;
}

// Rounder seconds are kept for longer. Any second t has one that is kept at most 2 (last − t) before it.
bool worth_keeping(long second, long last) {
    return last - second <= 2 * roundness(second);
}

}  // namespace

Playback::Playback(const Model* model) {
    if (model) fresh_.follower.emplace(*model);
    head_ = fresh_;
}

// To the last state for which `holds` is true.
template <typename Holds>
void Playback::go_back_unless(Holds holds) {
    if (holds(head_)) return;
    std::erase_if(kept_, [&](const State& s) { return !holds(s); });
    head_ = kept_.empty() ? fresh_ : kept_.back();
    ++version_;
}

void Playback::signs(std::vector<Sign> all) {
    const auto same = static_cast<std::size_t>(
        std::mismatch(signs_.begin(), signs_.end(), all.begin(), all.end()).first - signs_.begin());
    if (same == signs_.size() && same == all.size()) return;
    signs_ = std::move(all);
    ++version_;
    // It has taken none that is no longer there, and none is new that it should have taken.
    go_back_unless([&](const State& s) {
        return s.taken <= same && (s.taken == signs_.size() || signs_[s.taken].at_s > static_cast<double>(s.second));
    });
}

void Playback::current_changed(long from_second) {
    go_back_unless([&](const State& s) { return s.second < from_second; });
}

const Playback::State& Playback::at(double elapsed_s, const AmpsSeries& amps) {
    const long last = static_cast<long>(std::min(elapsed_s, fresh_.follower ? kLongest_s : kEver_s));
    go_back_unless([&](const State& s) { return s.second <= last; });
    while (head_.second < last) {
        play_second(last, amps);
        keep(last);
    }
    if (!head_.follower || head_.taken == signs_.size()) return head_;
    // In the second that is not over yet, very late, or by a clock that runs ahead.
    std::vector<Sign> rest(signs_.begin() + static_cast<std::ptrdiff_t>(head_.taken), signs_.end());
    for (Sign& s : rest) s.at_s = std::min(s.at_s, elapsed_s);
    ahead_ = head_;
    ahead_.follower->within(rest);
    ++version_;
    return ahead_;
}

void Playback::play_second(long last, const AmpsSeries& amps) {
    State& s = head_;
    const std::size_t first = s.taken;
    if (!s.follower) {  // nothing happens between two readings
        s.second = std::min(last, amps.next(s.second + 1).value_or(last));
    } else {
        ++s.second;
        while (s.taken < signs_.size() && signs_[s.taken].at_s <= static_cast<double>(s.second)) ++s.taken;
    }
    ++version_;
    std::optional<Follower::Amps> now;
    if (const auto mean = s.second > 0 ? amps.at(s.second) : std::nullopt) {
        now = {*mean, amps.weight(s.second), s.levels.take(static_cast<double>(s.second), *mean)};
        if (now->step) s.steps.push_back(*now->step);
    }
    if (!s.follower) return;
    const auto signs = std::span(signs_).subspan(first, s.taken - first);
    if (s.second == 0)
        s.follower->within(signs);
    else
        s.follower->second(signs, now);
}

void Playback::keep(long last) {
    if (!worth_keeping(head_.second, last)) return;
    // The memory of one that goes is taken over by the one that comes.
    const auto goes = std::stable_partition(kept_.begin(), kept_.end(),
                                            [&](const State& s) { return worth_keeping(s.second, last); });
    if (goes == kept_.end()) {
        kept_.push_back(head_);
        return;
    }
    *goes = head_;
    kept_.erase(goes + 1, kept_.end());
}

}  // namespace fettle::watch
