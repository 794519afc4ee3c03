// The rude box by grammar, thousands of rounds.
//   link_slow_test; FETTLE_RANDOM_SEED draws others, FETTLE_ROUNDS says how many
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <cstdlib>

#include "fettle/link/grammar_box_test_help.h"

namespace fettle::link {
namespace {

std::uint64_t of_environment(const char* name, std::uint64_t otherwise) {
    const char* given = std::getenv(name);
    return given != nullptr ? std::strtoull(given, nullptr, 10) : otherwise;
}
long peak_kib() {
    rusage u{};
    ::getrusage(RUSAGE_SELF, &u);
    return u.ru_maxrss;
}

TEST(GrammarBox, ThousandsOfRoundsClaimNothingThatWasNotSaid) {
    const std::uint64_t seed = of_environment("FETTLE_RANDOM_SEED", std::random_device{}());
    const std::uint64_t rounds = of_environment("FETTLE_ROUNDS", 4000);
    const auto folder = std::filesystem::path(::testing::TempDir()) / fmt::format("fettle-grammar-box-{}", seed);
    std::filesystem::create_directories(folder);
    testing::Counted n;
    int found = 0;
    const long began = peak_kib();
    for (std::uint64_t i = 0; i < rounds; ++i) {
        const std::string wrong = testing::one_round(seed + i, folder, n);
        found += !wrong.empty();
        EXPECT_EQ(wrong, "") << "FETTLE_RANDOM_SEED=" << seed + i;
    }
    std::filesystem::remove_all(folder);
    fmt::print(
        "rounds {}, found {}; opened {}, memory read {}, clearing begun {}, cleared {}, refused {}, not known {}; "
        "memory grew by {} KiB\n",
        n.rounds, found, n.opened, n.read, n.prepared, n.cleared, n.refused, n.unknown, peak_kib() - began);
    EXPECT_LT(peak_kib() - began, 32 * 1024);
    EXPECT_GT(n.cleared, 0);
    EXPECT_GT(n.unknown, 0);
}

}  // namespace
}  // namespace fettle::link
