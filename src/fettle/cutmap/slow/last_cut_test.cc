// Judging the last cut's states by their signature, each kind of instant once, against going through every single one.
//   cutmap_last_cut_test [MODELS]: how many random families; FETTLE_RANDOM_SEED draws others
#include "fettle/cutmap/last_cut.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <map>
#include <random>

#include "fettle/cutmap/explore.h"
#include "fettle/cutmap/test_random.h"

namespace fettle::cutmap {
namespace {

int models = 100;

// Every state by itself, whole, in a map. Asks the boot rules and the script again for each.
class EachByItself {
public:
    EachByItself(const Model& m, std::vector<Word> found) : m_(m), found_(std::move(found)) {}

    OutcomeBits fate(const std::vector<Word>& state, int more) {
        if (const auto known = fates_.find({more, state}); known != fates_.end()) return known->second;
        std::vector<Word> words = state;
        const PowerOn p = power_on(m_, State(m_, words.data()), found_);
        OutcomeBits bits = p.ways.empty() ? bit_of(p.rest) : OutcomeBits{0};
        struct Next final : Witness {
            EachByItself* each = nullptr;
            int more = 0;
            OutcomeBits bits = 0;
            void moment(int, int) override {}
            void left_behind(const std::vector<Word>& s) override { bits |= each->fate(s, more); }
        };
        for (const Resume& way : p.ways) {
            Next next;
            next.each = this;
            next.more = more - 1;
            bits |= way.goes ? follow(m_, state, way, found_, more > 0 ? &next : nullptr).bits : bit_of(p.rest);
            bits |= next.bits;
        }
        return fates_[{more, state}] = bits;
    }
    std::size_t states() const { return fates_.size(); }

private:
    const Model& m_;
    std::vector<Word> found_;
    std::map<std::pair<int, std::vector<Word>>, OutcomeBits> fates_;
};

struct Left final : Witness {
    std::vector<std::vector<Word>> states;
    void moment(int, int) override {}
    void left_behind(const std::vector<Word>& s) override { states.push_back(s); }
};

// More cells than all combinations are taken of, in the stores of one or two regions.
change::ChangeSheet sheet_of(const family::Family& f, int cells) {
    change::ChangeSheet s;
    s.to = "2";
    for (const auto& r : f.regions) {
        const int n = std::min(cells / r.stores, *rc::gen::inRange(0, 8));
        cells -= n * r.stores;
        for (int i = 0; i < n; ++i) {
            s.lines.push_back({r.box, fmt::format("{}{}", r.name, i), r.name, "1", "2", change::Action::replace, "",
                               static_cast<std::uint64_t>(*rc::gen::inRange(1, 1 << 21)), false});
        }
    }
    return s;
}

TEST(LastCut, BySignatureIsWhatEveryStateByItselfGives) {
    const char* given = std::getenv("FETTLE_RANDOM_SEED");
    const std::uint64_t seed = given != nullptr ? std::strtoull(given, nullptr, 10) : std::random_device()();
    std::uint64_t states = 0, many = 0;
    for (int i = 0; i < models; ++i) {
        const rc::Random random(seed + static_cast<std::uint64_t>(i));
        const int cuts = i % 8 == 7 ? 3 : 2;
        const auto drawn = rc::gen::exec([&] {
            auto f = random_families::random_family();
            for (auto& r : f.regions)  // some buffers hold a cell or two, some all, some for nobody knows how long
                if (r.buffered_s && *r.buffered_s > 0 && *rc::gen::arbitrary<bool>())
                    r.buffered_s = *rc::gen::inRange(2, 20);
            if (i % 2 == 0) {  // what lies before the cell under the head counts where the run goes on from there
                for (auto& b : f.boot) {
                    if (b.goes_on == "not at all") continue;
                    b.from = "same cell";
                    b.whole_new_cells = "rewritten";
                }
            }
            return std::make_pair(f, sheet_of(f, cuts == 3 ? 4 : 8));
        })(random, rc::kNominalSize);
        const auto [family, sheet] = drawn.value();
        const Model m = compile(family, sheet);
        for (const Cell spare : {Cell::other_release, Cell::torn}) {
            Explorer reduced(m, as_found(m, spare), std::size_t{64} << 20);
            EachByItself whole(m, as_found(m, spare));
            Left first;
            Resume from_rest;
            from_rest.goes = from_rest.from_start = true;
            follow(m, reduced.found(), from_rest, reduced.found(), &first);
            for (const auto& s : first.states) {
                for (int more = 0; more < cuts; ++more)
                    ASSERT_EQ(reduced.fate(s, more), whole.fate(s, more))
                        << "family " << i << " of FETTLE_RANDOM_SEED=" << seed << ", " << more << " more cuts";
            }
            ASSERT_FALSE(reduced.full());
            states += whole.states();
            if (m.cells > all_combinations_up_to) ++many;
        }
    }
    EXPECT_GT(many, static_cast<std::uint64_t>(models) / 4);
    fmt::print("{} families, {} states each by itself, seed {}\n", models, states, seed);
}

}  // namespace
}  // namespace fettle::cutmap

int main(int argc, char** argv) {
    testing::InitGoogleTest(&argc, argv);
    if (argc > 1) fettle::cutmap::models = std::max(1, std::atoi(argv[1]));
    return RUN_ALL_TESTS();
}
