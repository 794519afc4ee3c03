#include "fettle/card/lay_test_help.h"

namespace fettle::card {
namespace {

TEST(Lay, OurReaderFindsTheFiles) {
    auto card = test::lay_in_memory(some_files(), plain);
    auto expected = some_files();
    std::sort(expected.begin(), expected.end());
    EXPECT_EQ(read_back(card.device), expected);
}

TEST(Lay, FilesStandContiguousInTheOrderGiven) {
    const auto files = some_files();
    auto card = test::lay_in_memory(files, plain);
    std::uint64_t before = 0;
    for (std::size_t i = 0; i < files.size(); ++i) {
        const auto& f = card.laid.files[i];
        EXPECT_EQ(f.extent.length, files[i].second.size());
        if (f.extent.length == 0) continue;
        EXPECT_GT(f.extent.at, before);
        before = f.extent.at;
        const Bytes there(card.device.bytes.begin() + static_cast<std::ptrdiff_t>(f.extent.at),
                          card.device.bytes.begin() + static_cast<std::ptrdiff_t>(f.extent.at + f.extent.length));
        EXPECT_EQ(there, files[i].second);
    }
}

TEST(Lay, SameInputSameBytes) {
    const auto a = test::lay_in_memory(some_files(), plain), b = test::lay_in_memory(some_files(), plain);
    EXPECT_EQ(a.device.bytes, b.device.bytes);
    EXPECT_EQ(a.laid.digest, b.laid.digest);
}

TEST(Lay, AUsedDeviceGetsTheSameImageWithinTheExtents) {
    const auto fresh = test::lay_in_memory(some_files(), plain);
    MemoryDevice used(test::noise(9, test::small_card));
    const auto laid =
        lay(test::sources(some_files()), plain, fresh.laid.geometry, sha256_hex(std::string_view("release")), used);
    ASSERT_TRUE(laid);
    EXPECT_EQ(laid->digest, fresh.laid.digest);
    for (const auto& e : laid->extents)
        EXPECT_TRUE(std::equal(used.bytes.begin() + static_cast<std::ptrdiff_t>(e.at),
                               used.bytes.begin() + static_cast<std::ptrdiff_t>(e.at + e.length),
                               fresh.device.bytes.begin() + static_cast<std::ptrdiff_t>(e.at)));
}

TEST(Lay, DigestIsOverTheExtentsInAscendingOrder) {
    const auto card = test::lay_in_memory(some_files(), plain);
    Sha256Stream s;
    std::uint64_t end = 0;
    for (const auto& e : card.laid.extents) {
        EXPECT_GE(e.at, end);
        end = e.at + e.length;
        s.update(ByteView(card.device.bytes).subspan(e.at, e.length));
    }
    EXPECT_EQ(hex(s.finish()), card.laid.digest);
}

TEST(Lay, SerialComesFromTheReleaseDigestAndHiddenSectorsFromThePartition) {
    auto card = test::lay_in_memory({}, plain);
    const auto volume = Volume::open(card.device);
    EXPECT_EQ(hex(ByteView(card.device.bytes).subspan(volume->at_bytes() + 67, 4)),
              sha256_hex(std::string_view("release")).substr(0, 8));
    EXPECT_EQ(volume->boot().hidden, card.laid.geometry.partition_start);
}

TEST(Lay, SectorZeroIsWrittenLastAfterASync) {
    MemoryDevice under(Bytes(test::small_card), true);
    FaultyDevice device(under, {});
    const auto g = plan_geometry(test::small_card, plain);
    ASSERT_TRUE(lay(test::sources(some_files()), plain, *g, digest, device));
    const auto& notes = device.writes();
    EXPECT_EQ(notes.back().at, 0u);
    EXPECT_EQ(notes.back().length, 512u);
    EXPECT_GT(notes.back().syncs_before, notes[notes.size() - 2].syncs_before);
    for (std::size_t i = 0; i + 1 < notes.size(); ++i) EXPECT_GT(notes[i].at, 0u);
    EXPECT_EQ(device.syncs(), notes.back().syncs_before + 1);
}

// Every write and every sync fails once, is dropped once, arrives wrong once: never "laid", and the device never holds
// something that our reader takes for a volume, unless all of it was written.
TEST(Lay, EveryFaultIsNoticed) {
    std::vector<Content> files = some_files();
    files.emplace_back("large.bin", test::noise(4, 5u << 20));
    const auto sources = test::sources(files);
    const auto g = plan_geometry(test::small_card, plain);
    // An older good card with another content lies under it.
    test::SparseDevice old(test::small_card, false);
    ASSERT_TRUE(lay(test::sources({{"old.bin", test::noise(5, 2000)}}), plain, *g, digest, old));
    test::SparseDevice under = old;
    FaultyDevice sound(under, {});
    ASSERT_TRUE(lay(sources, plain, *g, digest, sound));
    const std::uint64_t writes = sound.writes().size(), syncs = sound.syncs();
    ASSERT_GE(writes, 9u);

    const auto holds_no_volume = [&](BlockDevice& d) {
        const auto table = read_table(d);
        return table && table->kind == TableKind::none && !Volume::open(d);
    };
    for (std::uint64_t n = 1; n <= writes; ++n) {
        FaultyDevice::Plan fail, drop, flip, lie;
        fail.fail_write = drop.drop_write = flip.flip_write = lie.lie_from = n;
        under = old;
        FaultyDevice failing(under, fail);
        EXPECT_EQ(lay(sources, plain, *g, digest, failing).error().code, "device-write-failed") << n;
        if (n > 1) {  // if the very first write fails, the old card is still whole
            EXPECT_TRUE(holds_no_volume(under)) << n;
        }
        // Erasing marks is followed by writes to the same places (or to places outside the image): losing such a write
        // changes nothing that counts, so only "not laid, or laid and right" is asked of it.
        for (const auto& plan : {drop, flip, lie}) {
            under = old;
            FaultyDevice device(under, plan);
            const auto laid = lay(sources, plain, *g, digest, device);
            if (!laid) {
                EXPECT_EQ(laid.error().code, "read-back-differs");
                continue;
            }
            EXPECT_LE(n, 3u) << "a spoiled write of the image was called laid";
            EXPECT_EQ(test::digest_of_extents(*laid, under), laid->digest);
        }
    }
    for (std::uint64_t n = 1; n <= syncs; ++n) {
        FaultyDevice::Plan plan;
        plan.fail_sync = n;
        under = old;
        FaultyDevice device(under, plan);
        EXPECT_EQ(lay(sources, plain, *g, digest, device).error().code, "device-sync-failed") << n;
    }
}

TEST(Lay, ReadBackNamesTheFileThatDiffers) {
    const auto g = plan_geometry(test::small_card, plain);
    MemoryDevice under(Bytes(test::small_card), true);
    FaultyDevice::Plan plan;
    const std::vector<Content> files{{"a.bin", test::noise(1, 3u << 20)}, {"b.bin", test::noise(2, 9u << 20)}};
    FaultyDevice sound(under, {});
    const auto laid = lay(test::sources(files), plain, *g, digest, sound);
    for (std::uint64_t n = 1; n <= sound.writes().size(); ++n) {
        const auto& w = sound.writes()[n - 1];
        if (w.at > laid->files[1].extent.at && plan.flip_write == 0) plan.flip_write = n;
    }
    MemoryDevice again(Bytes(test::small_card), true);
    FaultyDevice device(again, plan);
    const auto failed = lay(test::sources(files), plain, *g, digest, device);
    ASSERT_FALSE(failed);
    EXPECT_EQ(failed.error().place, "memory, b.bin");
    EXPECT_EQ(failed.error().kind, ErrorKind::outside);
}

TEST(Lay, ASourceThatIsNotWhatItsDigestSaysIsRefused) {
    const auto g = plan_geometry(test::small_card, plain);
    for (const int kind : {0, 1, 2, 3}) {
        auto sources = test::sources(some_files());
        const Bytes own = some_files()[0].second;
        sources[0].send = [&](const Sink& sink) -> Status {
            Bytes b = own;
            if (kind == 0) b[50000] ^= 1;
            if (kind == 1) b.pop_back();
            if (kind == 2) b.push_back(0);
            if (kind == 3) return outside_error("file-read-failed", "first.bin", "reading failed", "check the medium");
            return sink(b);
        };
        MemoryDevice device(Bytes(test::small_card), true);
        const auto laid = lay(sources, plain, *g, digest, device);
        ASSERT_FALSE(laid);
        EXPECT_EQ(laid.error().code, kind == 3 ? "file-read-failed" : "source-differs");
        EXPECT_EQ(laid.error().place, "first.bin");
        EXPECT_FALSE(Volume::open(device));
    }
}

TEST(Lay, EachSourceIsSentOnceAndInOrder) {
    std::vector<int> calls;
    auto sources = test::sources(some_files());
    for (std::size_t i = 0; i < sources.size(); ++i)
        sources[i].send = [&calls, i, own = sources[i].send](const Sink& sink) {
            calls.push_back(static_cast<int>(i));
            return own(sink);
        };
    MemoryDevice device(Bytes(test::small_card), true);
    ASSERT_TRUE(lay(sources, plain, *plan_geometry(test::small_card, plain), digest, device));
    EXPECT_EQ(calls, (std::vector<int>{0, 1, 2, 3}));
}

TEST(Lay, RefusesNamesThatFatCannotHold) {
    const auto code = [](const std::vector<std::string>& paths, family::CardRule rule = {}) {
        std::vector<Content> files;
        for (const auto& p : paths) files.emplace_back(p, Bytes(1));
        MemoryDevice device(Bytes(test::small_card), true);
        const auto laid = lay(test::sources(files), rule, *plan_geometry(test::small_card, plain), digest, device);
        return laid ? std::string() : laid.error().code;
    };
    EXPECT_EQ(code({"Index.lst", "index.lst"}), "names-clash");
    EXPECT_EQ(code({"a/b", "A/c"}), "names-clash");
    EXPECT_EQ(code({"a", "a/b"}), "names-clash");
    EXPECT_EQ(code({"a/b", "a"}), "names-clash");
    EXPECT_EQ(code({"a", "a"}), "names-clash");
    EXPECT_EQ(code({"a/../b"}), "name-not-layable");
    EXPECT_EQ(code({"/a"}), "name-not-layable");
    EXPECT_EQ(code({"a//b"}), "name-not-layable");
    EXPECT_EQ(code({"dot."}), "name-not-layable");
    family::CardRule strict;
    strict.longest_path = 10;
    EXPECT_EQ(code({"1234567890"}, strict), "");
    EXPECT_EQ(code({"12345678901"}, strict), "path-too-long");
    strict.label = "lower";
    EXPECT_EQ(code({"a"}, strict), "label-not-layable");
}

TEST(Lay, TheLargestFileFatHoldsIsTakenAndOneMoreIsNot) {
    const auto layout_code = [](std::uint64_t size) {
        family::CardRule rule;
        const auto g = plan_geometry(std::uint64_t{8} << 30, rule);
        MemoryDevice none(Bytes{});
        std::vector<SourceFile> f{{"f", size, "", [](const Sink&) -> Status { return {}; }}};
        const auto size_chosen = image_bytes_for(f, rule);
        return size_chosen ? fmt::format("{}", *size_chosen >> 30) : size_chosen.error().code;
    };
    EXPECT_EQ(layout_code(4294967295u), "8");
    EXPECT_EQ(layout_code(4294967296u), "file-too-large");
}

TEST(Lay, AReleaseLargerThanTheCardIsRefusedBeforeAnythingIsWritten) {
    MemoryDevice under(Bytes(test::small_card), true);
    FaultyDevice device(under, {});
    const auto laid =
        lay(test::sources({{"big", Bytes(40u << 20)}}), plain, *plan_geometry(test::small_card, plain), digest, device);
    EXPECT_EQ(laid.error().code, "card-too-small");
    EXPECT_TRUE(device.writes().empty());
}

RC_GTEST_PROP(Lay, RandomTreesComeBackWhole, ()) {
    std::vector<Content> files;
    std::set<std::string> met;
    const auto n = *rc::gen::inRange(0, 40);
    for (int i = 0; i < n; ++i) {
        std::string path;
        for (int d = *rc::gen::inRange(0, 4); d > 0; --d) path += fmt::format("folder {}/", *rc::gen::inRange(0, 3));
        path += *rc::gen::element(std::string("a"), std::string("Name.txt"), std::string("\xC3\xA4 long name indeed")) +
                std::to_string(*rc::gen::inRange(0, 50));
        const auto size = *rc::gen::element(0, 1, 511, 512, 513, 1024, 5000);
        if (met.insert(name_key(path)).second)
            files.emplace_back(path, test::noise(static_cast<std::uint64_t>(i), static_cast<std::size_t>(size)));
    }
    test::SparseDevice device(test::small_card, true);
    RC_ASSERT(lay(test::sources(files), plain, *plan_geometry(test::small_card, plain), digest, device).has_value());
    std::sort(files.begin(), files.end());
    RC_ASSERT(read_back(device) == files);
}

// --- image files -----------------------------------------------------------------------------------------------------

}  // namespace
}  // namespace fettle::card
