// A virtual set that has begun, and what it has done.
#pragma once

#include <gtest/gtest.h>

#include "bench_test_help.h"
#include "fettle/base/text.h"
#include "fettle/standin/box.h"

namespace fettle::standin {

using namespace testing;

inline std::vector<std::string> states(const std::vector<Event>& events) {
    std::vector<std::string> out;
    for (const auto& e : events)
        if (e.kind == EventKind::state) out.push_back(e.act);
    return out;
}

inline bool seen(const std::vector<Event>& events, EventKind kind, const std::string& text) {
    return std::any_of(events.begin(), events.end(), [&](const Event& e) { return e.kind == kind && e.text == text; });
}

inline VirtualSet started(const std::string& from, const std::string& to, std::uint64_t nature = 1) {
    auto s = set_at(from, nature);
    s.insert_card(card_for(to));
    EXPECT_TRUE(s.start_update());
    return s;
}

}  // namespace fettle::standin
