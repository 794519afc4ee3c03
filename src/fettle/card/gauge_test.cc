#include "fettle/card/gauge.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <random>

#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

// The same gauge with a small unit: 16 KiB stand for 64 MiB.
GaugePlan small(std::uint64_t card_bytes, std::uint64_t seed = 7) {
    GaugePlan p;
    p.card_bytes = card_bytes;
    p.unit_bytes = 16u << 10;
    p.block_bytes = 512;
    p.chunk_bytes = 4u << 10;
    p.seed = seed;
    return p;
}

struct Stopwatch {
    double at = 0;
    Seconds now() {
        return [this] { return at; };
    }
    std::function<void(double)> waits() {
        return [this](double s) { at += s; };
    }
};

Gauged gauge(const GaugePlan& plan, FaultyDevice& device, Stopwatch& watch, bool replug = true) {
    Gauged g;
    g.plan = plan;
    auto written = write_marks(plan, device, watch.now());
    if (!written) throw std::runtime_error(written.error().message());
    g.written = std::move(*written);
    auto seen = read_marks(plan, device, watch.now());
    if (!seen) throw std::runtime_error(seen.error().message());
    g.first = std::move(*seen);
    if (!replug) return g;
    device.replug();
    auto again = read_marks(plan, device, watch.now());
    if (!again) throw std::runtime_error(again.error().message());
    g.again = std::move(*again);
    g.replugged = true;
    return g;
}

std::string codes(const Judgement& j) {
    std::string out;
    for (const auto& r : j.reasons) out += (out.empty() ? "" : " ") + r.code;
    return out;
}

TEST(Gauge, AGoodCardIsSoundOnlyAfterItWasPulled) {
    MemoryDevice under(test::noise(1, 1u << 20));
    Stopwatch watch;
    FaultyDevice device(under, {});
    auto g = gauge(small(1u << 20), device, watch);
    EXPECT_EQ(codes(judge(g)), "gauge-sound");
    EXPECT_EQ(judge(g).verdict(), Verdict::fit);
    EXPECT_EQ(judge(g).reasons[0].rests_on, "measured 96 sectors after re-insertion");  // 32 + 63 + 1
    g.replugged = false;
    EXPECT_EQ(codes(judge(g)), "gauge-not-surely-pulled");
    g.again.reset();
    EXPECT_EQ(codes(judge(g)), "gauge-warm");  // memory is never cold
    EXPECT_EQ(judge(g).verdict(), Verdict::cant_say);
    g.first->cold = true;
    EXPECT_EQ(codes(judge(g)), "gauge-not-pulled");
    EXPECT_EQ(judge(g).verdict(), Verdict::mind);
}

// Every stretch as long as a unit, wherever it begins, holds marks, and so does the end of the card.
RC_GTEST_PROP(Gauge, NoStretchOfAUnitIsWithoutMarks, ()) {
    GaugePlan p;
    p.unit_bytes = *rc::gen::inRange<std::uint64_t>(1, 40) * 512;
    p.block_bytes = *rc::gen::inRange<std::uint64_t>(1, p.unit_bytes / 512 + 1) * 512;
    p.chunk_bytes = *rc::gen::inRange<std::uint64_t>(1, 9) * 512;
    p.chunk_bytes = std::max(p.chunk_bytes, p.block_bytes);
    p.card_bytes = *rc::gen::inRange<std::uint64_t>(1, 400) * 512;
    p.seed = *rc::gen::arbitrary<std::uint64_t>();
    std::vector<bool> marked(p.card_bytes / 512);
    std::uint64_t end = 0;
    for (const auto& s : touched(p)) {
        RC_ASSERT(s.at >= end && s.length > 0 && s.at % 512 == 0 && s.length % 512 == 0);
        RC_ASSERT(s.length <= p.chunk_bytes);
        end = s.at + s.length;
        RC_ASSERT(end <= p.card_bytes);
        for (auto at = s.at; at < end; at += 512) marked[at / 512] = true;
    }
    const std::uint64_t unit = p.unit_bytes / 512;
    for (std::uint64_t n = 0; n < marked.size(); ++n) {
        if (n < unit) RC_ASSERT(marked[n]);
        const auto from = marked.begin() + static_cast<std::ptrdiff_t>(n);
        const auto to = marked.begin() + static_cast<std::ptrdiff_t>(std::min<std::uint64_t>(n + unit, marked.size()));
        RC_ASSERT(std::find(from, to, true) != to);
    }
}

// 20,000 random wrap sizes from the unit up: all found, and the wrap that is named is the card's own or a multiple.
TEST(Gauge, FindsTwentyThousandRandomWraps) {
    std::mt19937_64 random(std::random_device{}());
    MemoryDevice under(test::noise(3, 1u << 20));  // never cleared: what other sessions left is no mark of this one
    Stopwatch watch;
    std::size_t exact = 0;
    for (int i = 0; i < 20000; ++i) {
        FaultyDevice::Plan plan;
        plan.claims_bytes = (64 + random() % 1984) * 512;
        plan.wraps_at = (16 + random() % (plan.claims_bytes / 512 - 16)) * 512;
        GaugePlan p = small(plan.claims_bytes, random());
        p.unit_bytes = 8u << 10;
        FaultyDevice device(under, plan);
        const auto g = gauge(p, device, watch, false);
        ASSERT_EQ(judge(g).verdict(), Verdict::halt) << plan.claims_bytes << " wraps at " << plan.wraps_at;
        ASSERT_EQ(judge(g).reasons[0].code, "gauge-wraps") << plan.claims_bytes << " wraps at " << plan.wraps_at;
        ASSERT_EQ(g.first->wrap_bytes % plan.wraps_at, 0u);
        exact += g.first->wrap_bytes == plan.wraps_at;
    }
    EXPECT_GT(exact, 19000u);
}

TEST(Gauge, FindsWrapsSmallerThanTheUnitAndInTheMiddleOfASector) {
    MemoryDevice under(Bytes(1u << 20));
    Stopwatch watch;
    for (std::uint64_t n = 512; n < (16u << 10); n += 512) {
        FaultyDevice::Plan plan;
        plan.claims_bytes = 256u << 10;
        plan.wraps_at = n;
        FaultyDevice device(under, plan);
        EXPECT_EQ(judge(gauge(small(plan.claims_bytes), device, watch)).verdict(), Verdict::halt) << n;
    }
    for (std::uint64_t n = (16u << 10) + 1; n < (20u << 10); n += 37) {
        FaultyDevice::Plan plan;
        plan.claims_bytes = 256u << 10;
        plan.wraps_at = n;
        FaultyDevice device(under, plan);
        const auto g = gauge(small(plan.claims_bytes), device, watch);
        EXPECT_EQ(judge(g).verdict(), Verdict::halt) << n;
        if (n % 512 != 0) {
            EXPECT_EQ(g.first->wrap_bytes % n, 0u) << n;
        }
    }
}

// Story 23 with the real unit: sold as 32 GB, wraps at 8 GiB; at 13.1 GB, in the middle of a sector even.
TEST(Gauge, Story23) {
    for (const std::uint64_t n :
         {std::uint64_t{8} << 30, std::uint64_t{13'100'000'256}, std::uint64_t{13'100'000'000}}) {
        GaugePlan p;
        p.card_bytes = std::uint64_t{32'000'000'000} / 512 * 512;
        p.seed = n * 31;
        SparseDevice under(n, false);
        FaultyDevice::Plan plan;
        plan.claims_bytes = p.card_bytes;
        plan.wraps_at = n;
        FaultyDevice device(under, plan);
        Stopwatch watch;
        const auto g = gauge(p, device, watch, false);
        EXPECT_EQ(judge(g).reasons[0].code, "gauge-wraps");
        EXPECT_EQ(g.first->wrap_bytes, n);
        EXPECT_NE(judge(g).reasons[0].text.find(n >> 30 == 8 ? "after 8.00 GiB (8.59 GB)" : "(13.1 GB)"),
                  std::string::npos)
            << judge(g).reasons[0].text;
    }
}

TEST(Gauge, FindsEveryDroppedAndEveryChangedWrite) {
    const GaugePlan p = small(256u << 10);
    Stopwatch watch;
    const std::size_t writes = touched(p).size();
    ASSERT_GT(writes, 15u);
    for (std::uint64_t n = 1; n <= writes; ++n) {
        MemoryDevice fresh(Bytes(256u << 10)), used(test::noise(n, 256u << 10)), third(Bytes(256u << 10));
        FaultyDevice::Plan drop, flip;
        drop.drop_write = flip.flip_write = n;
        FaultyDevice a(fresh, drop), b(used, drop), c(third, flip);
        EXPECT_EQ(codes(judge(gauge(p, a, watch))), "gauge-drops") << n;
        EXPECT_EQ(codes(judge(gauge(p, b, watch))), "gauge-damaged") << n;
        EXPECT_EQ(codes(judge(gauge(p, c, watch))), "gauge-damaged") << n;
    }
}

TEST(Gauge, FindsWhereACardStopsKeeping) {
    const GaugePlan p = small(512u << 10);
    Stopwatch watch;
    for (std::uint64_t from = 512; from < p.card_bytes; from += 1536) {
        MemoryDevice under(Bytes(512u << 10));
        FaultyDevice::Plan plan;
        plan.drops_from = from;
        FaultyDevice device(under, plan);
        const auto g = gauge(p, device, watch);
        EXPECT_EQ(codes(judge(g)), "gauge-drops") << from;
        EXPECT_GE(g.first->first_wrong_at, from);
        EXPECT_LT(g.first->first_wrong_at, from + p.unit_bytes);
    }
}

TEST(Gauge, ALyingControllerIsFoundOnlyAfterReinsertion) {
    MemoryDevice under(Bytes(256u << 10));
    FaultyDevice::Plan plan;
    plan.held_bytes = 6u << 10;
    FaultyDevice device(under, plan);
    Stopwatch watch;
    const auto g = gauge(small(256u << 10), device, watch);
    EXPECT_TRUE(g.first->sound());
    EXPECT_EQ(codes(judge(g)), "gauge-drops gauge-controller-lied");
    EXPECT_EQ(judge(g).verdict(), Verdict::halt);
}

TEST(Gauge, ACardLaidSinceIsNotCalledBad) {
    MemoryDevice under(Bytes(256u << 10));
    const GaugePlan p = small(256u << 10);
    Stopwatch watch;
    ASSERT_TRUE(write_marks(p, under, watch.now()));
    ASSERT_TRUE(under.write_at(0, test::noise(3, 2048)));  // somebody formatted it: some structures, some zeros
    ASSERT_TRUE(under.write_at(2048, Bytes(4096)));
    Gauged g;
    g.plan = p;
    g.again = *read_marks(p, under, watch.now());
    g.replugged = true;
    EXPECT_EQ(codes(judge(g)), "gauge-written-since");
    EXPECT_EQ(judge(g).verdict(), Verdict::cant_say);
}

TEST(Gauge, ReadsThatFailAreFindingsAndACardThatIsGoneIsAnError) {
    MemoryDevice under(Bytes(256u << 10));
    FaultyDevice::Plan plan;
    plan.fail_read_at = 9000;
    FaultyDevice device(under, plan);
    Stopwatch watch;
    const auto g = gauge(small(256u << 10), device, watch);
    EXPECT_EQ(codes(judge(g)), "gauge-unreadable");
    ASSERT_EQ(g.first->unreadable.size(), 1u);
    EXPECT_EQ(g.first->unreadable[0], (Stretch{8192, 4096}));

    for (std::uint64_t n = 1; n <= touched(small(256u << 10)).size(); ++n) {
        FaultyDevice::Plan pulled;
        pulled.gone_after = n;
        FaultyDevice gone(under, pulled);
        EXPECT_FALSE(write_marks(small(256u << 10), gone, watch.now())) << n;
        EXPECT_FALSE(read_marks(small(256u << 10), gone, watch.now())) << n;
        FaultyDevice::Plan failing;
        failing.fail_write = n;
        FaultyDevice fails(under, failing);
        EXPECT_EQ(write_marks(small(256u << 10), fails, watch.now()).error().code, "device-write-failed");
    }
    FaultyDevice::Plan unsynced;
    unsynced.fail_sync = 1;
    FaultyDevice sync(under, unsynced);
    EXPECT_EQ(write_marks(small(256u << 10), sync, watch.now()).error().code, "device-sync-failed");
}

// SD Association, speed classes (tests/data/reference/sd-speed-classes.csv): minimum sequential write.
TEST(Gauge, SpeedClassesAreThePublishedOnes) {
    const auto rows = test::table("sd-speed-classes.csv");
    ASSERT_EQ(rows.size(), speed_classes().size());
    for (std::size_t i = 0; i < rows.size(); ++i) {
        EXPECT_EQ(speed_classes()[i].mark, rows[i].at("mark_on_card"));
        EXPECT_EQ(speed_classes()[i].write_mb_per_s, std::stod(rows[i].at("min_sequential_write_MB_per_s")));
        // A card a shade below the minimum does not reach the class, one a shade above does.
        for (const double shade : {0.99, 1.01}) {
            MemoryDevice under(Bytes(128u << 10));
            Stopwatch watch;
            FaultyDevice::Plan plan;
            plan.per_byte_s = 1 / (shade * speed_classes()[i].write_mb_per_s * 1e6);
            plan.waits = watch.waits();
            FaultyDevice device(under, plan);
            const GaugePlan p = small(128u << 10);
            const auto g = gauge(p, device, watch);
            const auto met = pace(p, *g.written, *g.first).classes_met;
            EXPECT_EQ(std::count(met.begin(), met.end(), rows[i].at("mark_on_card")), shade > 1 ? 1 : 0)
                << rows[i].at("mark_on_card") << " at " << shade;
        }
    }
}

TEST(Gauge, SlowSpotsAreNamed) {
    const GaugePlan p = small(512u << 10);
    for (const auto& s : touched(p)) {
        MemoryDevice under(Bytes(512u << 10));
        Stopwatch watch;
        FaultyDevice::Plan plan;
        plan.per_byte_s = 1e-7;
        plan.slow_from = s.at;
        plan.slow_to = s.at + s.length;
        plan.slow_s = 0.4;
        plan.waits = watch.waits();
        FaultyDevice device(under, plan);
        const auto g = gauge(p, device, watch);
        const auto slow = pace(p, *g.written, *g.first).slow;
        ASSERT_EQ(slow.size(), 2u) << s.at;  // writing and reading
        EXPECT_EQ(slow[0].stretch, s);
        EXPECT_NE(codes(judge(g)).find("gauge-slow-spots"), std::string::npos);
        EXPECT_EQ(judge(g).verdict(), Verdict::mind);
    }
}

}  // namespace
}  // namespace fettle::card
