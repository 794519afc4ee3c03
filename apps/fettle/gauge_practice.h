// A made-up card to see what the gauge says of one: "size 32G wraps 8G".
#pragma once

#include <cstdint>
#include <string>

#include "fettle/card/gauge.h"

namespace fettle::app {

// Gauges a card of that description, pulled and put back once, with a clock of its own; nothing real is touched. Words:
// size, wraps, drops, holds (a controller that lies about that much), slow, flips (the n-th write).
Result<card::Gauged> gauge_practice(const std::string& words, std::uint64_t seed);

}  // namespace fettle::app
