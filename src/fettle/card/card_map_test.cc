#include "fettle/card/card_map.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

const family::CardRule plain;

CardMap map_of(BlockDevice& d) {
    auto m = map_card(d);
    if (!m) throw std::runtime_error(m.error().message());
    return std::move(*m);
}

void expect_whole(const CardMap& m) {
    std::uint64_t end = 0;
    for (const auto& s : m.spots) {
        EXPECT_EQ(s.at, end);
        EXPECT_GT(s.length, 0u);
        end = s.at + s.length;
    }
    EXPECT_EQ(end, m.card_bytes);
}

const Spot* named(const CardMap& m, const std::string& name) {
    const auto it = std::find_if(m.spots.begin(), m.spots.end(), [&](const Spot& s) { return s.name == name; });
    return it == m.spots.end() ? nullptr : &*it;
}

std::uint64_t sum(const CardMap& m, Ground g) {
    std::uint64_t n = 0;
    for (const auto& s : m.spots) n += s.ground == g ? s.length : 0;
    return n;
}

// Where everything stands is known from the layout that was written, not from the reader that draws.
TEST(CardMap, OfALaidCardIsItsLayout) {
    auto card = test::lay_in_memory({{"a.bin", test::noise(1, 5000)}, {"Folder/b.bin", test::noise(2, 700)}}, plain);
    const auto m = map_of(card.device);
    expect_whole(m);
    const auto& g = card.laid.geometry;
    EXPECT_EQ(m.table, "mbr");
    EXPECT_EQ(m.file_system, "FAT32");
    EXPECT_EQ(m.files, 2u);
    EXPECT_EQ(m.stretches, 2u);
    EXPECT_EQ(sum(m, Ground::table), 512u);
    EXPECT_EQ(sum(m, Ground::boot), g.reserved * 512u);
    EXPECT_EQ(sum(m, Ground::fat), g.data_start() * 512 - g.fat_start(0) * 512);
    for (const auto& f : card.laid.files) {
        const Spot* s = named(m, f.path);
        ASSERT_TRUE(s) << f.path;
        EXPECT_EQ(s->ground, Ground::file);
        EXPECT_EQ(s->at, f.extent.at);
        EXPECT_EQ(s->length, (f.extent.length + g.cluster_bytes() - 1) / g.cluster_bytes() * g.cluster_bytes());
    }
    EXPECT_EQ(sum(m, Ground::trouble) + sum(m, Ground::lost), 0u);
    EXPECT_EQ(m.used_to, card.laid.extents.back().at + card.laid.extents.back().length);
}

// exFAT: what Fettle lays has chains that the FAT holds nothing of.
TEST(CardMap, OfALaidExfatCardIsItsLayout) {
    family::CardRule rule;
    rule.file_system = "exfat";
    std::vector<test::Content> contents = {{"a.bin", test::noise(1, 70000)}, {"Folder/b.bin", test::noise(2, 700)}};
    for (int i = 0; i < 40; ++i) contents.push_back({fmt::format("Folder/deep/c{}.bin", i), test::noise(3, 1)});
    auto card = test::lay_in_memory(contents, rule);
    const auto& g = card.laid.geometry;
    ASSERT_EQ(g.type, FatType::exfat);
    const auto m = map_of(card.device);
    expect_whole(m);
    EXPECT_EQ(m.file_system, "exFAT");
    EXPECT_EQ(m.files, contents.size());
    EXPECT_EQ(m.stretches, contents.size());
    std::uint64_t files = 0, first = card.laid.files[0].extent.at;
    for (const auto& f : card.laid.files) {
        const Spot* s = named(m, f.path);
        ASSERT_TRUE(s) << f.path;
        EXPECT_EQ(s->at, f.extent.at);
        EXPECT_EQ(s->length, (f.extent.length + g.cluster_bytes() - 1) / g.cluster_bytes() * g.cluster_bytes());
        files += s->length;
    }
    std::uint64_t drawn = 0;  // neighbours are drawn in turn in two shades
    for (const auto& s : m.spots)
        if (!s.name.empty() && named(m, s.name)->ground == s.ground && s.at >= first) drawn += s.length;
    EXPECT_EQ(drawn, files);
    // At least one cluster for each of the three folders, before the files.
    EXPECT_GE(sum(m, Ground::folder), 3 * g.cluster_bytes());
    EXPECT_EQ(sum(m, Ground::fat), g.fat_sectors * 512u);
    EXPECT_EQ(sum(m, Ground::trouble) + sum(m, Ground::lost), 0u);
    EXPECT_FALSE(m.not_drawn.empty());  // bitmap and up-case table: said, not guessed
}

// The FAT entry of a cluster, both copies.
void set_entry(test::Card& c, std::uint32_t cluster, std::uint32_t value) {
    for (std::uint32_t copy = 0; copy < 2; ++copy)
        store_le32(c.device.bytes, c.laid.geometry.fat_start(copy) * 512 + cluster * 4ull, value);
}

TEST(CardMap, ShowsFragmentsLostBadAndBrokenStretches) {
    auto card = test::lay_in_memory({{"a.bin", test::noise(1, 8 * 512)}, {"b.bin", test::noise(2, 2 * 512)}}, plain);
    const auto& g = card.laid.geometry;
    ASSERT_EQ(g.cluster_bytes(), 512u);
    const auto cluster_of = [&](std::uint64_t at) {
        return static_cast<std::uint32_t>((at - g.data_start() * 512) / 512 + 2);
    };
    const std::uint32_t a = cluster_of(card.laid.files[0].extent.at);
    // a's last cluster moves far away: two stretches, one lost cluster; one cluster is marked bad.
    set_entry(card, a + 6, 30000);
    set_entry(card, 30000, 0x0FFFFFFF);
    set_entry(card, 40000, 0x0FFFFFF7);
    auto m = map_of(card.device);
    expect_whole(m);
    EXPECT_EQ(m.stretches, 3u);
    EXPECT_EQ(sum(m, Ground::lost), 512u);
    const Spot* bad = named(m, "marked bad");
    ASSERT_TRUE(bad);
    EXPECT_EQ(bad->at, g.data_start() * 512 + (40000 - 2) * 512ull);
    const auto far = std::count_if(m.spots.begin(), m.spots.end(), [](const Spot& s) { return s.name == "a.bin"; });
    EXPECT_EQ(far, 2);
    const auto text = map_text(m);
    EXPECT_NE(join(text, "\n").find("! at "), std::string::npos);
    // A chain that comes back to itself ends, and is trouble.
    set_entry(card, a + 3, a);
    m = map_of(card.device);
    expect_whole(m);
    EXPECT_GT(sum(m, Ground::trouble), 512u);
}

std::size_t characters(const std::string& s) {
    return static_cast<std::size_t>(std::count_if(s.begin(), s.end(), [](char c) { return (c & 0xC0) != 0x80; }));
}

TEST(CardMap, EveryMarkIsThereHoweverSmall) {
    auto card = test::lay_in_memory({{"a", Bytes(1)}}, plain, std::uint64_t{64} << 20);
    auto m = map_of(card.device);
    for (const std::size_t width : {40u, 80u, 200u}) {
        for (const bool ascii : {true, false}) {
            const auto lines = map_text(m, {width, ascii});
            for (const auto& l : lines)
                if (l.starts_with("|")) {
                    EXPECT_EQ(characters(l), width);
                }
            EXPECT_EQ(lines[1][1], 'T');
            if (ascii) {
                EXPECT_TRUE(std::all_of(lines[1].begin(), lines[1].end(), [](char c) { return c >= 32; }));
            }
        }
    }
    const std::string svg = map_svg(m, "A <card>");
    EXPECT_NE(svg.find("A &lt;card&gt;"), std::string::npos);
    EXPECT_NE(svg.find("<title>table at 0 bytes"), std::string::npos);
    EXPECT_NE(svg.find("used part"), std::string::npos);
}

TEST(CardMap, OtherCardsAreDrawnAsFarAsTheyAreKnown) {
    MemoryDevice empty(Bytes(1u << 20));
    auto m = map_of(empty);
    expect_whole(m);
    EXPECT_EQ(m.used_to, 0u);
    EXPECT_FALSE(map_text(m).empty());
    MemoryDevice nothing{Bytes()};
    EXPECT_TRUE(map_of(nothing).spots.empty());
    EXPECT_FALSE(map_text(map_of(nothing)).empty());
    for (int seed = 0; seed < 24; ++seed) {  // damaged at random: drawn whole, without a hang
        static auto good = test::lay_in_memory({{"a", Bytes(3000)}, {"F/b", Bytes(700)}}, plain);
        MemoryDevice d(good.device.bytes);
        const Bytes noise = test::noise(static_cast<std::uint64_t>(seed), 24);
        const std::uint64_t part = good.laid.geometry.partition_start * 512;
        const std::uint64_t at[] = {446, part, good.laid.geometry.fat_start(0) * 512,
                                    good.laid.geometry.data_start() * 512};
        std::copy(noise.begin(), noise.end(),
                  d.bytes.begin() + static_cast<std::ptrdiff_t>(at[seed % 4] + noise[0] % 64));
        if (const auto drawn = map_card(d)) expect_whole(*drawn);
    }
}

}  // namespace
}  // namespace fettle::card
