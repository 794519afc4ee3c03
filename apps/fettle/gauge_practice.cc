#include "gauge_practice.h"

#include <fmt/core.h>

#include "cmd_card.h"
#include "fettle/base/text.h"
#include "fettle/card/faulty_device.h"
#include "fettle/card/sparse_device.h"

namespace fettle::app {

Result<card::Gauged> gauge_practice(const std::string& words, std::uint64_t seed) {
    constexpr std::uint64_t largest = std::uint64_t{512} << 30;  // keeps the memory it takes bounded
    const auto wrong = [&](const std::string& what) {
        return usage_error("practice-not-understood", "--practice", what,
                           "give for example 'size 32G wraps 8G'; words: size, wraps, drops, holds, slow, flips");
    };
    std::uint64_t size = std::uint64_t{32} << 30;
    card::FaultyDevice::Plan plan;
    std::vector<std::string> parts;
    for (const auto& p : split(words, ' '))
        if (!p.empty()) parts.push_back(p);
    if (parts.empty() || parts.size() % 2 != 0) return wrong("is not a list of words with a size behind each");
    for (std::size_t i = 0; i < parts.size(); i += 2) {
        const auto n = size_from(parts[i + 1]);
        if (!n) return wrong(fmt::format("'{}' is no size", printable(parts[i + 1])));
        if (parts[i] == "size")
            size = *n;
        else if (parts[i] == "wraps")
            plan.wraps_at = *n < 512 ? *n : *n / 512 * 512;  // a card knows sectors, not bytes
        else if (parts[i] == "drops")
            plan.drops_from = *n;
        else if (parts[i] == "holds")
            plan.held_bytes = *n;
        else if (parts[i] == "flips")
            plan.flip_write = *n;
        else if (parts[i] == "slow")
            plan.slow_from = *n;
        else
            return wrong(fmt::format("'{}' is no such word", printable(parts[i])));
    }
    size = size / 512 * 512;
    if (size == 0 || size > largest) return wrong("a card has 512 bytes at least and 512G at most");
    if (plan.wraps_at != 0 && plan.wraps_at < 512) return wrong("a card wraps after 512 bytes at the earliest");
    double seconds = 0;
    plan.claims_bytes = size;
    plan.per_byte_s = 1 / 24e6;  // a card of class C10 and better
    if (plan.slow_from != 0) {
        plan.slow_to = plan.slow_from + (std::uint64_t{128} << 20);
        plan.slow_s = 1.5;
    }
    plan.waits = [&](double s) { seconds += s; };
    card::SparseDevice medium(size, false);
    card::FaultyDevice device(medium, plan);
    card::Gauged g;
    g.plan.card_bytes = size;
    g.plan.seed = seed;
    const card::Seconds now = [&] { return seconds; };
    auto written = card::write_marks(g.plan, device, now);
    if (!written) return pass(written);
    g.written = std::move(*written);
    auto first = card::read_marks(g.plan, device, now);
    if (!first) return pass(first);
    g.first = std::move(*first);
    device.replug();
    auto again = card::read_marks(g.plan, device, now);
    if (!again) return pass(again);
    g.again = std::move(*again);
    g.replugged = true;
    return g;
}

}  // namespace fettle::app
