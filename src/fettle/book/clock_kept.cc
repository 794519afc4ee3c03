#include "fettle/book/clock_kept.h"

#include <algorithm>
#include <boost/json/object.hpp>
#include <cmath>

namespace fettle::book {
namespace {

constexpr double kSteered_s = 5, kSteeredPart = 1e-3;
constexpr double kOrder_s = 60;

}  // namespace

std::optional<ClockStep> clock_set_by(const std::vector<ClockKept>& kept, UnixMs last, const ClockKept& now) {
    const auto same = std::find_if(kept.begin(), kept.end(),
                                   [&](const ClockKept& k) { return !now.boot.empty() && k.boot == now.boot; });
    if (same != kept.end()) {
        const double passed_s = now.up_s - same->up_s;
        const double by_s = static_cast<double>(now.at - same->at) / 1000 - passed_s;
        if (std::abs(by_s) > kSteered_s + kSteeredPart * std::abs(passed_s)) return ClockStep{by_s, true};
        return std::nullopt;
    }
    const double back_s = static_cast<double>(last - now.at) / 1000;
    if (last > 0 && back_s > kOrder_s) return ClockStep{-back_s, false};
    return std::nullopt;
}

void keep_clock(std::vector<ClockKept>& kept, ClockKept now) {
    if (now.boot.empty()) return;
    const auto same = std::find_if(kept.begin(), kept.end(), [&](const ClockKept& k) { return k.boot == now.boot; });
    if (same == kept.end())
        kept.push_back(std::move(now));
    else
        *same = std::move(now);
}

ClockKept clock_of(UnixMs at, const boost::json::object& data) {
    ClockKept out;
    out.at = at;
    const auto* clock = data.if_contains("clock");
    const auto* members = clock ? clock->if_object() : nullptr;
    const auto* boot = members ? members->if_contains("boot") : nullptr;
    const auto* up = members ? members->if_contains("up_s") : nullptr;
    if (!boot || !boot->is_string() || !up || !up->is_number()) return out;
    const double up_s = up->to_number<double>();
    if (!(up_s >= 0 && up_s < 1e12)) return out;
    out.boot = boot->get_string();
    out.up_s = up_s;
    return out;
}

}  // namespace fettle::book
