// Opening and laying a real block device: a loop device, where one can be made.
#include <gtest/gtest.h>

#include <fstream>

#include "fettle/card/card.h"
#include "fettle/card/lay_device.h"
#include "fettle/card/test_cards.h"
#include "fettle/card/test_loop.h"

namespace fettle::card {
namespace {

namespace fs = std::filesystem;
using test::Content;

const family::CardRule plain;
const std::string digest = sha256_hex(std::string_view("a release"));

std::vector<Content> new_files() {
    return {{"index", test::noise(1, 3000)}, {"Folder/piece.bin", test::noise(2, 2u << 20)}, {"empty", {}}};
}

struct Folder {
    fs::path path;
    Folder() {
        std::string name = (fs::temp_directory_path() / "fettle-loop-XXXXXX").string();
        path = ::mkdtemp(name.data());
    }
    ~Folder() { fs::remove_all(path); }
};

fs::path blank(const Folder& folder, std::uint64_t size = test::small_card) {
    const fs::path file = folder.path / "medium.img";
    std::ofstream(file).put('\0');
    fs::resize_file(file, size);
    return file;
}

FoundDevice found(const std::string& path) {
    const auto view = read_system();
    if (view)
        for (const auto& d : find_devices(*view))
            if (d.path == path) return d;
    throw std::runtime_error("not found: " + path);
}

const std::function<Result<SystemView>()> look = [] { return read_system(); };

TEST(OpenToErase, LaysOnALoopDeviceAndWhatStandsInTheFileIsTheImage) {
    const Folder folder;
    const auto file = blank(folder);
    const test::LoopDevice loop(file);
    if (!loop.ok()) GTEST_SKIP() << "skipped: no loop device to be had here";
    {
        auto device = open_to_erase(found(loop.path()), nullptr, look);
        ASSERT_TRUE(device) << device.error().message();
        EXPECT_EQ(open_to_erase(found(loop.path()), nullptr, look).error().code, "device-busy");
        const auto laid = lay_device(test::sources(new_files()), plain, digest, **device);
        ASSERT_TRUE(laid) << laid.error().message();
        EXPECT_TRUE(laid->cold);
        auto behind = open_for_reading(file);
        EXPECT_EQ(test::digest_of_extents(*laid, **behind), laid->digest);
        EXPECT_TRUE(Volume::open(**behind));
    }
}

TEST(OpenToErase, RefusesADeviceThatIsNoLongerTheOneAgreedTo) {
    const Folder folder;
    const test::LoopDevice loop(blank(folder));
    if (!loop.ok()) GTEST_SKIP() << "skipped: no loop device to be had here";
    const FoundDevice agreed = found(loop.path());
    const auto code = [&](const std::function<void(FoundDevice&)>& edit) {
        FoundDevice other = agreed;
        edit(other);
        const auto opened = open_to_erase(other, nullptr, look);
        return opened ? std::string("opened") : opened.error().code;
    };
    EXPECT_EQ(code([](FoundDevice&) {}), "opened");
    EXPECT_EQ(code([](FoundDevice& d) { d.number = "7:99999"; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.size_bytes += 512; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.serial = "4C53"; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.model = "Other"; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.bus = Bus::usb; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.sequence += "1"; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.backing = "/other"; }), "device-changed");
    EXPECT_EQ(code([](FoundDevice& d) { d.path = "/dev/no-such"; }), "device-gone");
    EXPECT_EQ(code([](FoundDevice& d) { d.path = "/dev/null"; }), "device-changed");
    family::CardRule small;
    small.max_bytes = 1u << 20;
    EXPECT_EQ(open_to_erase(agreed, &small, look).error().code, "card-too-large");
    const auto blind = [] { return Result<SystemView>(SystemView{}); };
    EXPECT_EQ(open_to_erase(agreed, nullptr, blind).error().code, "device-changed");
}

// Cold read-back, proved where it can fail: the file behind the device changes under the system's memory of the device.
// A read that comes from that memory does not see it; the read-back does.
TEST(ColdReadBack, SeesWhatChangedUnderTheSystemsMemory) {
    const Folder folder;
    const auto file = blank(folder);
    const test::LoopDevice loop(file);
    if (!loop.ok()) GTEST_SKIP() << "skipped: no loop device to be had here";

    // Changes one byte of the medium, behind the system's back, at the moment when reading back begins.
    class Treacherous final : public BlockDevice {
    public:
        Treacherous(BlockDevice& u, fs::path f, bool really) : under(u), file(std::move(f)), cold(really) {}
        std::string name() const override { return under.name(); }
        std::uint64_t size_bytes() const override { return under.size_bytes(); }
        Status read_at(std::uint64_t at, ByteSpan out) override { return under.read_at(at, out); }
        Status write_at(std::uint64_t at, ByteView d) override {
            if (at > 512) last = at + d.size() / 2;
            return under.write_at(at, d);
        }
        Status sync() override { return under.sync(); }
        bool drop_cache() override {
            Bytes held(std::min<std::uint64_t>(size_bytes(), 16u << 20));  // the system now remembers all of it
            (void)under.read_at(0, held);
            std::fstream f(file, std::ios::in | std::ios::out | std::ios::binary);
            f.seekg(static_cast<std::streamoff>(last));
            const char was = static_cast<char>(f.get());
            f.seekp(static_cast<std::streamoff>(last));
            f.put(static_cast<char>(was ^ 0x20));
            f.flush();
            return cold ? under.drop_cache() : false;
        }
        BlockDevice& under;
        fs::path file;
        bool cold;
        std::uint64_t last = 0;
    };
    std::vector<Content> files = new_files();
    files.emplace_back("last.bin", test::noise(4, 2u << 20));
    for (const bool cold : {true, false}) {
        auto device = open_to_erase(found(loop.path()), nullptr, look);
        ASSERT_TRUE(device) << device.error().message();
        Treacherous medium(**device, file, cold);
        const auto laid = lay_device(test::sources(files), plain, digest, medium);
        if (cold) {
            ASSERT_FALSE(laid) << "the change was not seen";
            EXPECT_EQ(laid.error().code, "read-back-differs");
        } else {
            EXPECT_TRUE(laid) << "if even a warm read sees the change, this test proves nothing";
            if (laid) {
                EXPECT_FALSE(laid->cold);
            }
        }
    }
}

TEST(OpenToErase, AMountedLoopDeviceIsRefusedEvenIfTheViewDoesNotSayIt) {
    const Folder folder;
    const auto file = blank(folder);
    const test::LoopDevice loop(file);
    if (!loop.ok()) GTEST_SKIP() << "skipped: no loop device to be had here";
    const FoundDevice agreed = found(loop.path());
    const int claimed = ::open(loop.path().c_str(), O_RDONLY | O_EXCL | O_CLOEXEC);  // as a mount claims it
    ASSERT_GE(claimed, 0);
    EXPECT_EQ(open_to_erase(agreed, nullptr, look).error().code, "device-busy");
    ::close(claimed);
    EXPECT_TRUE(open_to_erase(agreed, nullptr, look));
}

}  // namespace
}  // namespace fettle::card
