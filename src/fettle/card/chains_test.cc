// Every shape that two chains can have on a volume of eight clusters, against a naive reader written from the FAT
// specification 1.03 ("FAT Data Structure"): the first file claims its clusters, then the second.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <numeric>
#include <random>
#include <set>

#include "fettle/card/claims.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr unsigned clusters = 8;
constexpr std::uint16_t end_mark = 0xFFF, bad_mark = 0xFF7, beyond = 0x123, nothing = 0;
using Fat = std::array<std::uint16_t, clusters + 2>;

struct File {
    std::uint16_t first = 0;
    std::uint32_t size = 0;
};

// FAT12, one sector a cluster: boot sector, one FAT sector, one root sector, eight data sectors.
Bytes volume_of(const Fat& fat, const std::array<File, 2>& files) {
    Bytes v(11 * 512);
    v[0] = 0xEB, v[510] = 0x55, v[511] = 0xAA;
    store_le16(v, 11, 512);
    v[13] = 1;
    store_le16(v, 14, 1);
    v[16] = 1;
    store_le16(v, 17, 16);
    store_le16(v, 19, 11);
    v[21] = 0xF8;
    store_le16(v, 22, 1);
    for (std::size_t c = 0; c < fat.size(); ++c) {
        const std::size_t at = 512 + c + c / 2;
        const unsigned old = load_le16(v, at);
        store_le16(v, at, static_cast<std::uint16_t>(c % 2 ? (old & 0x000F) | fat[c] << 4 : (old & 0xF000) | fat[c]));
    }
    for (std::size_t i = 0; i < files.size(); ++i) {
        const std::size_t at = 1024 + 32 * i;
        const std::string name = i == 0 ? "A       BIN" : "B       BIN";
        std::copy(name.begin(), name.end(), v.begin() + static_cast<std::ptrdiff_t>(at));
        v[at + 11] = 0x20;
        store_le16(v, at + 26, files[i].first);
        store_le32(v, at + 28, files[i].size);
    }
    return v;
}

struct Seen {
    std::set<FlawKind> flaws;
    bool whole = false;
};

std::array<Seen, 2> naive(const Fat& fat, const std::array<File, 2>& files) {
    std::array<Seen, 2> out;
    std::set<unsigned> taken;
    for (std::size_t i = 0; i < files.size(); ++i) {
        const std::uint32_t wanted = (files[i].size + 511) / 512;
        if (files[i].first == 0) {
            out[i].whole = files[i].size == 0;
            if (!out[i].whole) out[i].flaws.insert(FlawKind::chain_short);
            continue;
        }
        std::set<unsigned> own;
        unsigned at = files[i].first;
        std::optional<FlawKind> flaw;
        for (;;) {
            if (at < 2 || at >= clusters + 2) {
                flaw = FlawKind::chain_broken;
                break;
            }
            if (own.contains(at)) {
                flaw = FlawKind::chain_circular;
                break;
            }
            if (taken.contains(at)) {
                flaw = FlawKind::chain_crossed;
                break;
            }
            own.insert(at);
            const unsigned next = fat[at];
            if (next >= 0xFF8) break;
            if (next == nothing || next == bad_mark || next < 2 || next >= clusters + 2) {
                flaw = FlawKind::chain_broken;
                break;
            }
            at = next;
        }
        taken.insert(own.begin(), own.end());
        if (!flaw && own.size() < wanted) flaw = FlawKind::chain_short;
        if (!flaw && own.size() > wanted) flaw = FlawKind::chain_long;
        if (flaw) out[i].flaws.insert(*flaw);
        out[i].whole = own.size() >= wanted;
    }
    return out;
}

std::array<Seen, 2> ours(const Bytes& volume) {
    MemoryDevice device(volume);
    auto v = Volume::open(device);
    std::array<Seen, 2> out;
    const auto l = v->list(true);
    for (const auto& n : l->nodes) out[n.path == "A.BIN" ? 0 : 1].whole = n.whole;
    for (const auto& f : l->flaws) out[f.path == "A.BIN" ? 0 : 1].flaws.insert(f.kind);
    return out;
}

class Shapes {
public:
    std::uint64_t checked = 0;

    // A: `a` clusters and how it ends; B: `b` clusters, then an end, a turn into itself or into A; or it begins in A.
    void run() {
        std::mt19937 random(3);
        std::iota(places_.begin(), places_.end(), std::uint16_t{2});
        for (unsigned a = 1; a <= clusters; ++a)
            for (unsigned a_end = 0; a_end < 4 + a; ++a_end)
                for (unsigned b = 0; a + b <= clusters; ++b)
                    for (unsigned b_end = 0; b_end < (b == 0 ? a + 2 : 4 + b + a); ++b_end) {
                        std::shuffle(places_.begin(), places_.end(), random);  // the same shape, laid anywhere
                        one(a, a_end, b, b_end);
                    }
    }

private:
    std::uint16_t ending(unsigned kind, unsigned from, unsigned length) const {
        static constexpr std::uint16_t marks[] = {end_mark, nothing, bad_mark, beyond};
        return kind < 4 ? marks[kind] : places_[(from + kind - 4) % std::max(1u, from + length)];
    }

    void one(unsigned a, unsigned a_end, unsigned b, unsigned b_end) {
        Fat fat{};
        fat[0] = 0xFF8, fat[1] = 0xFFF;
        for (unsigned i = 0; i + 1 < a; ++i) fat[places_[i]] = places_[i + 1];
        fat[places_[a - 1]] = ending(a_end, 0, a);
        for (unsigned i = 0; i + 1 < b; ++i) fat[places_[a + i]] = places_[a + i + 1];
        if (b > 0) fat[places_[a + b - 1]] = b_end < 4 + b + a ? ending(b_end, 0, a + b) : end_mark;
        const std::uint16_t b_first = b > 0 ? places_[a] : b_end < a ? places_[b_end] : b_end == a ? 0 : beyond;
        for (const std::uint32_t a_size : {a * 512 - 511, a * 512, a * 512 + 1, a * 512 - 512})
            for (const std::uint32_t b_size : {0u, b * 512, b * 512 + 1}) {
                const std::array<File, 2> files{File{places_[0], a_size}, File{b_first, b_size}};
                const auto want = naive(fat, files), got = ours(volume_of(fat, files));
                for (int i = 0; i < 2; ++i) {
                    ASSERT_EQ(got[i].flaws, want[i].flaws)
                        << a << " " << a_end << " " << b << " " << b_end << " file " << i;
                    ASSERT_EQ(got[i].whole, want[i].whole)
                        << a << " " << a_end << " " << b << " " << b_end << " file " << i;
                }
                ++checked;
            }
    }

    std::array<std::uint16_t, clusters> places_{};
};

TEST(Chains, EveryShapeOnEightClustersAsANaiveReaderSeesIt) {
    Shapes shapes;
    shapes.run();
    EXPECT_EQ(shapes.checked, 29832u);
}

// Against a plain set of numbers.
TEST(Claims, AreASet) {
    std::mt19937_64 random(11);
    const std::uint64_t n = 3 * Claims::stretch + 77;
    Claims claims(n);
    std::vector<bool> plain(n);
    for (int i = 0; i < 300; ++i) {
        const std::uint64_t first = random() % n, length = std::min(n - first, random() % (2 * Claims::stretch));
        std::uint64_t taken = 0;
        while (taken < length && !plain[first + taken]) plain[first + taken++] = true;
        EXPECT_EQ(claims.take_run(first, length), taken);
        const std::uint64_t single = random() % n;
        claims.take(single);
        plain[single] = true;
    }
    EXPECT_EQ(claims.held(), static_cast<std::uint64_t>(std::count(plain.begin(), plain.end(), true)));
    for (std::uint64_t i = 0; i < n; ++i) ASSERT_EQ(claims.has(i), plain[i]) << i;
    EXPECT_FALSE(claims.gave_up());
}

}  // namespace
}  // namespace fettle::card
