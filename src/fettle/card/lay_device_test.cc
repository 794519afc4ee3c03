#include "fettle/card/lay_device.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "fettle/card/card.h"
#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

using test::Content;

const family::CardRule plain;
const std::string digest = sha256_hex(std::string_view("a release"));

std::vector<Content> new_files() {
    return {{"index", test::noise(1, 3000)}, {"Folder/piece.bin", test::noise(2, 2u << 20)}, {"empty", {}}};
}

// The paths of all files that a reader finds, "none" when it finds no volume at all.
std::vector<std::string> seen(BlockDevice& d) {
    auto volume = Volume::open(d);
    if (!volume) return {"none"};
    const auto listing = volume->list();
    if (!listing) return {"none"};
    std::vector<std::string> out;
    for (const auto& n : listing->nodes)
        if (!n.folder) out.push_back(n.path);
    return out;
}

struct OldCard {
    const char* words;
    SparseDevice device;
};

SparseDevice old_good_card(std::uint64_t size) {
    SparseDevice d(size, false);
    const auto g = plan_geometry(size, plain);
    if (!lay(test::sources({{"old.bin", test::noise(5, 2000)}}), plain, *g, digest, d)) throw std::runtime_error("lay");
    return d;
}

// Cards that hold something of another form: without a table, its partition elsewhere, with a GPT at both ends.
std::vector<OldCard> old_cards() {
    std::vector<OldCard> out;
    const std::uint64_t size = test::small_card;
    out.push_back({"the same form", old_good_card(size)});
    {
        SparseDevice flat(size, false);
        const SparseDevice good = old_good_card(size);
        SparseDevice from = good;
        Bytes all(4u << 20);  // all that is used of it
        (void)from.read_at(0, all);
        const std::uint64_t start = plan_geometry(size, plain)->partition_start * sector_bytes;
        (void)flat.write_at(0, ByteView(all).subspan(start));
        out.push_back({"no table", flat});

        SparseDevice moved(size, false);  // the partition 3 MiB further on
        const std::uint64_t to = start + (3u << 20);
        Bytes table(all.begin(), all.begin() + 512);
        store_le32(table, 454, static_cast<std::uint32_t>(to / 512));
        (void)moved.write_at(0, table);
        (void)moved.write_at(to, ByteView(all).subspan(start));
        out.push_back({"partition elsewhere", moved});

        SparseDevice gpt = good;
        Bytes protective(512), header(512), entry(128);
        protective[450] = 0xEE;
        store_le32(protective, 454, 1);
        store_le32(protective, 458, 0xFFFFFFFF);
        protective[510] = 0x55;
        protective[511] = 0xAA;
        std::copy_n("EFI PART", 8, header.begin());
        store_le32(header, 8, 0x10000);
        store_le32(header, 12, 92);
        store_le64(header, 72, 2);
        store_le32(header, 80, 128);
        store_le32(header, 84, 128);
        entry[0] = 1;
        store_le64(entry, 32, start / 512);
        store_le64(entry, 40, size / 512 - 34);
        (void)gpt.write_at(0, protective);
        (void)gpt.write_at(512, header);
        (void)gpt.write_at(1024, entry);
        (void)gpt.write_at(size - 512, header);
        out.push_back({"GPT", gpt});
    }
    return out;
}

TEST(LayDevice, WhatWasThereIsGoneAndTheNewImageIsTheSame) {
    MemoryDevice fresh(Bytes(test::small_card), true);
    const auto wanted = lay(test::sources(new_files()), plain, *plan_geometry(test::small_card, plain), digest, fresh);
    ASSERT_TRUE(wanted);
    for (auto& old : old_cards()) {
        ASSERT_EQ(seen(old.device), std::vector<std::string>{"old.bin"}) << old.words;
        const auto laid = lay_device(test::sources(new_files()), plain, digest, old.device);
        ASSERT_TRUE(laid) << laid.error().message();
        EXPECT_EQ(laid->digest, wanted->digest);
        EXPECT_EQ(test::digest_of_extents(*laid, old.device), wanted->digest);
        Bytes end(512);
        ASSERT_TRUE(old.device.read_at(test::small_card - 512, end));
        EXPECT_EQ(end, Bytes(512)) << "backup GPT of " << old.words;
    }
}

TEST(LayDevice, OldMarksAreZeroedAndSyncedBeforeAnythingElse) {
    auto cards = old_cards();
    const std::uint64_t start = plan_geometry(test::small_card, plain)->partition_start * sector_bytes;
    for (auto& old : cards) {
        FaultyDevice device(old.device, {});
        ASSERT_TRUE(erase_old_marks(device));
        EXPECT_EQ(device.syncs(), 1u);
        EXPECT_EQ(device.writes().front().at, 0u) << old.words;
        EXPECT_EQ(seen(old.device), std::vector<std::string>{"none"}) << old.words;
        for (const std::uint64_t at : {std::uint64_t{0}, start, start + 6 * 512}) {
            if (std::string(old.words) == "partition elsewhere" && at != 0) continue;
            Bytes b(512);
            ASSERT_TRUE(old.device.read_at(at, b));
            EXPECT_EQ(b, Bytes(512)) << old.words << " at " << at;
        }
    }
}

TEST(LayDevice, ATableThatLiesIsWipedWithoutHarm) {
    for (const std::uint32_t start : {1u, 63u, 70000u, 73727u, 73728u, 0xFFFFFFFFu})
        for (const std::uint32_t sectors : {0u, 1u, 33u, 35u, 0xFFFFFFFFu}) {
            SparseDevice d(test::small_card, false);
            Bytes mbr(512);
            mbr[450] = 0x0C;
            store_le32(mbr, 454, start);
            store_le32(mbr, 458, sectors);
            mbr[510] = 0x55;
            mbr[511] = 0xAA;
            ASSERT_TRUE(d.write_at(0, mbr));
            EXPECT_TRUE(erase_old_marks(d)) << start << " " << sectors;
        }
}

// What is refused is refused before the old card is touched.
TEST(LayDevice, ARefusalLeavesTheOldCardAlone) {
    SparseDevice old = old_good_card(test::small_card);
    FaultyDevice device(old, {});
    EXPECT_EQ(lay_device(test::sources({{"big", Bytes(40u << 20)}}), plain, digest, device).error().code,
              "card-too-small");
    EXPECT_EQ(lay_device(test::sources({{"a/../b", Bytes(1)}}), plain, digest, device).error().code,
              "name-not-layable");
    family::CardRule small;
    small.max_bytes = 1u << 20;
    EXPECT_EQ(lay_device(test::sources(new_files()), small, digest, device).error().code, "card-too-large");
    EXPECT_TRUE(device.writes().empty());
    EXPECT_EQ(seen(old), std::vector<std::string>{"old.bin"});
}

// Every single write and sync fails once: never "laid".
TEST(LayDevice, AnyFailingWriteOrSyncIsNeverLaid) {
    const SparseDevice old = old_cards()[3].device;
    const auto sources = test::sources(new_files());
    SparseDevice under = old;
    FaultyDevice sound(under, {});
    ASSERT_TRUE(lay_device(sources, plain, digest, sound));
    ASSERT_GE(sound.writes().size(), 10u);
    for (std::uint64_t n = 1; n <= sound.writes().size(); ++n) {
        FaultyDevice::Plan plan;
        plan.fail_write = n;
        under = old;
        FaultyDevice device(under, plan);
        const auto laid = lay_device(sources, plain, digest, device);
        ASSERT_FALSE(laid) << n;
        EXPECT_EQ(laid.error().code, "device-write-failed");
    }
    for (std::uint64_t n = 1; n <= sound.syncs(); ++n) {
        FaultyDevice::Plan plan;
        plan.fail_sync = n;
        under = old;
        FaultyDevice device(under, plan);
        const auto laid = lay_device(sources, plain, digest, device);
        ASSERT_FALSE(laid) << n;
        EXPECT_EQ(laid.error().code, "device-sync-failed");
    }
}

// Every write arrives wrong, or not at all: what is called laid is whole.
TEST(LayDevice, AnyDroppedOrChangedWriteIsFoundOrHarmless) {
    const SparseDevice old = old_good_card(test::small_card);
    const auto sources = test::sources(new_files());
    SparseDevice under = old;
    FaultyDevice sound(under, {});
    ASSERT_TRUE(lay_device(sources, plain, digest, sound));
    std::size_t found = 0;
    for (std::uint64_t n = 1; n <= sound.writes().size(); ++n)
        for (const int kind : {0, 1, 2}) {
            FaultyDevice::Plan plan;
            (kind == 0 ? plan.drop_write : kind == 1 ? plan.flip_write : plan.lie_from) = n;
            under = old;
            FaultyDevice device(under, plan);
            const auto laid = lay_device(sources, plain, digest, device);
            if (!laid) {
                EXPECT_EQ(laid.error().code, "read-back-differs");
                ++found;
                continue;
            }
            EXPECT_EQ(test::digest_of_extents(*laid, under), laid->digest) << n << " " << kind;
            EXPECT_EQ(seen(under).size(), 3u);
        }
    EXPECT_GE(found, 10u);
}

// Killed or pulled after any write: the card is untouched, or holds no volume at all, or is laid whole.
TEST(LayDevice, PulledAfterAnyWriteItIsNeverTakenForAGoodCard) {
    for (const auto& start : old_cards()) {
        const auto sources = test::sources(new_files());
        SparseDevice under = start.device;
        FaultyDevice sound(under, {});
        ASSERT_TRUE(lay_device(sources, plain, digest, sound));
        const std::uint64_t writes = sound.writes().size();
        for (std::uint64_t n = 1; n <= writes; ++n) {
            FaultyDevice::Plan plan;
            plan.gone_after = n;
            under = start.device;
            FaultyDevice device(under, plan);
            const auto laid = lay_device(sources, plain, digest, device);
            ASSERT_FALSE(laid) << "it was pulled before it was read back";
            const auto now = seen(under);
            if (n == writes)
                EXPECT_EQ(now.size(), 3u);  // the last write was sector 0
            else
                EXPECT_EQ(now, std::vector<std::string>{"none"}) << start.words << ", pulled after write " << n;
        }
    }
}

// The medium brings writes between two syncs in any order: any of them may be missing when power goes. 200 draws.
TEST(LayDevice, WritesNotYetSyncedMayBeMissingInAnyChoice) {
    const SparseDevice old = old_cards()[2].device;
    const auto sources = test::sources(new_files());
    SparseDevice under = old;
    FaultyDevice sound(under, {});
    const auto whole = lay_device(sources, plain, digest, sound);
    ASSERT_TRUE(whole);
    struct Write {
        std::uint64_t at, sync;
        Bytes bytes;
    };
    // What each write carried: taken from runs that stop after it.
    class Recorder final : public BlockDevice {
    public:
        explicit Recorder(BlockDevice& u) : under(u) {}
        std::string name() const override { return "memory"; }
        std::uint64_t size_bytes() const override { return under.size_bytes(); }
        Status read_at(std::uint64_t at, ByteSpan out) override { return under.read_at(at, out); }
        Status write_at(std::uint64_t at, ByteView d) override {
            writes.push_back({at, syncs, Bytes(d.begin(), d.end())});
            return under.write_at(at, d);
        }
        Status sync() override {
            ++syncs;
            return {};
        }
        BlockDevice& under;
        std::uint64_t syncs = 0;
        std::vector<Write> writes;
    };
    under = old;
    Recorder recorder(under);
    ASSERT_TRUE(lay_device(sources, plain, digest, recorder));
    std::mt19937_64 random(20261125);
    std::size_t none = 0, untouched = 0, laid = 0;
    for (int draw = 0; draw < 200; ++draw) {
        const std::uint64_t epoch = random() % (recorder.syncs + 1);
        SparseDevice medium = old;
        for (const auto& w : recorder.writes) {
            const bool synced = w.sync < epoch, begun = w.sync == epoch;
            if (synced || (begun && random() % 2 == 0)) {
                ASSERT_TRUE(medium.write_at(w.at, w.bytes));
            }
        }
        const auto now = seen(medium);
        if (now == std::vector<std::string>{"old.bin"}) {
            ++untouched;
            EXPECT_EQ(epoch, 0u) << "the old card shows after its marks were synced away";
        } else if (now == std::vector<std::string>{"none"}) {
            ++none;
        } else {
            ++laid;
            EXPECT_EQ(now.size(), 3u);
            EXPECT_EQ(test::digest_of_extents(*whole, medium), whole->digest);
        }
    }
    EXPECT_GT(none, 50u);
    EXPECT_GT(laid, 10u);
    EXPECT_GT(untouched, 2u);
}

// --- what is on it ---------------------------------------------------------------------------------------------------

TEST(WhatIsOn, NamesTableFileSystemLabelAndFiles) {
    family::CardRule rule;
    rule.label = "OWNER MAP";
    auto card = test::lay_in_memory({{"Maps/a", Bytes(3 << 20)}, {"b", {}}, {"c", {}}, {"d", {}}, {"e", {}}}, rule);
    const auto lines = what_is_on(card.device);
    ASSERT_EQ(lines.size(), 2u);
    EXPECT_EQ(lines[0], "MBR with 1 partition");
    EXPECT_NE(lines[1].find("FAT32 'OWNER MAP', 5 files, 3.0 MiB: Maps, b, c, d and 1 more"), std::string::npos)
        << lines[1];
    MemoryDevice empty(Bytes(1u << 20));
    EXPECT_EQ(what_is_on(empty),
              std::vector<std::string>{"no partition table; at its start nothing that Fettle knows by its mark"});
    FaultyDevice::Plan plan;
    plan.fail_read_at = 3;
    FaultyDevice broken(card.device, plan);
    EXPECT_NE(what_is_on(broken).at(0).find("cannot be read"), std::string::npos);
}

}  // namespace
}  // namespace fettle::card
