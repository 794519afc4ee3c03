#include "fettle/card/devices.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "fettle/base/source_path.h"
#include "fettle/base/text.h"

namespace fettle::card {
namespace {

namespace fs = std::filesystem;

std::string content(const std::string& file) {
    std::ifstream in(source_path("tests/data/devices/") + file);
    std::ostringstream out;
    out << in.rdbuf();
    return out.str();
}

struct Machine {
    SystemView view;
    std::vector<FoundDevice> devices;

    explicit Machine(const std::string& file) : Machine(*parse_system_view(content(file), file)) {}
    explicit Machine(SystemView v) : view(std::move(v)), devices(find_devices(view)) {}

    const FoundDevice& at(const std::string& name) const {
        for (const auto& d : devices)
            if (d.name == name) return d;
        throw std::runtime_error("no " + name);
    }
};

// Codes of what halts, or of everything, in order, each once.
std::string codes(const FoundDevice& d, const family::CardRule* rule, Verdict at_least = Verdict::halt) {
    std::vector<std::string> out;
    for (const auto& r : may_be_erased(d, rule).reasons)
        if (r.verdict >= at_least && std::find(out.begin(), out.end(), r.code) == out.end()) out.push_back(r.code);
    return join(out, " ");
}

family::CardRule like_dunnock() {
    family::CardRule rule;
    rule.media = {"usb-stick", "sd"};
    rule.min_bytes = 67108864;
    rule.max_bytes = 34359738368;
    return rule;
}

TEST(Devices, AreChosenByBusAndCardTypeNotByTheRemovableFlag) {
    const Machine laptop("laptop.txt");
    const auto rule = like_dunnock();
    struct Expected {
        const char* name;
        Bus bus;
        bool removable;
        const char* halts;
    };
    for (const auto& [name, bus, removable, halts] :
         {Expected{"mmcblk1", Bus::sd, false, ""},  // built-in reader: flag 0, still a card
          Expected{"mmcblk0", Bus::soldered, false, "device-soldered"},
          Expected{"mmcblk0boot0", Bus::soldered, false, "device-soldered card-too-small"},
          Expected{"sdb", Bus::usb, true, ""}, Expected{"sdc", Bus::usb, true, "device-no-medium"},
          Expected{"sdd", Bus::usb, true, "device-read-only-medium device-in-use"},
          Expected{"sde", Bus::usb, true, "device-not-a-card card-too-large"},  // flag 1, still a disk
          Expected{"sda", Bus::sata, false, "device-is-a-disk device-holds-system"},
          Expected{"nvme0n1", Bus::nvme, false, "device-is-a-disk card-too-large device-holds-system device-in-use"},
          Expected{"dm-0", Bus::mapped, false, "device-is-a-disk card-too-large device-holds-system"},
          Expected{"sr0", Bus::unknown, true, "device-not-a-card"}, Expected{"loop0", Bus::loop, false, ""},
          Expected{"loop1", Bus::loop, false, "device-not-a-card"},
          Expected{"loop2", Bus::loop, false, "device-not-a-card device-no-medium"},
          Expected{"sdb1", Bus::usb, false, "device-partition"}}) {
        const auto& d = laptop.at(name);
        EXPECT_EQ(d.bus, bus) << name;
        EXPECT_EQ(d.removable, removable) << name;
        EXPECT_EQ(codes(d, &rule), halts) << name;
    }
    EXPECT_EQ(laptop.devices.size(), 20u);
}

TEST(Devices, SayWhatTheyAre) {
    const Machine laptop("laptop.txt");
    const auto& sd = laptop.at("mmcblk1");
    EXPECT_EQ(sd.model, "MUP16");
    EXPECT_EQ(sd.serial, "0x00c0ffee");
    EXPECT_EQ(sd.serial_of, "the card");
    EXPECT_EQ(sd.card_type, "SD");
    EXPECT_EQ(sd.size_bytes, 31116288u * 512ull);
    EXPECT_EQ(sd.sequence, "12");
    EXPECT_EQ(sd.partitions, std::vector<std::string>{"mmcblk1p1"});
    const auto& stick = laptop.at("sdb");
    EXPECT_EQ(stick.model, "MadeUp Stick 3.0");
    EXPECT_EQ(stick.serial, "4C530001230919");  // its own, not that of the host controller above it
    EXPECT_EQ(stick.number, "8:16");
    EXPECT_EQ(laptop.at("sdd").serial, "");  // "000000000000" is none
    EXPECT_EQ(laptop.at("sdd").to_agree(), std::to_string(15523840ull * 512));
    EXPECT_EQ(laptop.at("sdb1").whole, "sdb");
    EXPECT_EQ(laptop.at("nvme0n1").serial, "S0000N1");
    EXPECT_EQ(laptop.at("loop0").backing, "/tmp/card.img");
}

TEST(Devices, UsersAreFoundThroughPartitionsMappingsNamesAndNumbers) {
    const Machine laptop("laptop.txt");
    const auto system = [](const FoundDevice& d) {
        return std::any_of(d.uses.begin(), d.uses.end(), [](const Use& u) { return u.system; });
    };
    EXPECT_TRUE(system(laptop.at("nvme0n1")));  // root on a mapping on its partition; /boot/efi on the other
    EXPECT_EQ(laptop.at("nvme0n1").uses.size(), 3u);
    EXPECT_TRUE(system(laptop.at("sda")));  // swap, by a name under /dev/disk
    ASSERT_EQ(laptop.at("sdd").uses.size(), 1u);
    EXPECT_EQ(laptop.at("sdd").uses[0].where, "/media/you/OWNER MAP");
    EXPECT_FALSE(system(laptop.at("sdd")));
    EXPECT_TRUE(laptop.at("mmcblk1").uses.empty());

    const Machine desk("desk.txt");
    const auto rule = like_dunnock();
    EXPECT_EQ(codes(desk.at("sda"), &rule), "device-holds-system");  // btrfs: found by the name, not the number
    EXPECT_EQ(codes(desk.at("sdb"), &rule), "device-in-use");        // member of a logical volume
    EXPECT_EQ(codes(desk.at("mmcblk0"), &rule), "");                 // SD slot behind USB
    EXPECT_EQ(desk.at("mmcblk0").serial_of, "the card");
    EXPECT_EQ(codes(desk.at("mmcblk2"), &rule), "device-not-a-card card-too-small");
    EXPECT_EQ(codes(desk.at("vda"), &rule), "device-is-a-disk card-too-small");
    EXPECT_EQ(codes(desk.at("xyz"), &rule), "device-not-a-card card-too-small");
}

TEST(Devices, AFixedDiskOnUsbNeedsAFamilyThatNamesTheLargestCard) {
    const Machine desk("desk.txt");
    auto rule = like_dunnock();
    EXPECT_EQ(codes(desk.at("sdc"), &rule), "card-too-large");
    rule.max_bytes = 0;
    EXPECT_EQ(codes(desk.at("sdc"), &rule), "device-not-a-card");
    EXPECT_EQ(codes(desk.at("sdc"), nullptr), "device-not-a-card");
    rule.max_bytes = std::uint64_t{1} << 40;
    EXPECT_EQ(codes(desk.at("sdc"), &rule), "");
}

TEST(Devices, ALoopDeviceOverAFileInMemoryIsOneOverAFile) {
    FoundDevice d = Machine("laptop.txt").at("loop0");
    d.backing = "/dev/shm/card.img";
    EXPECT_EQ(codes(d, nullptr), "");
    d.backing = "/dev/shmx";
    EXPECT_EQ(codes(d, nullptr), "device-not-a-card");
}

TEST(Devices, SizeLimitsAreTheFamilys) {
    FoundDevice d = Machine("laptop.txt").at("mmcblk1");
    auto rule = like_dunnock();
    d.size_bytes = rule.max_bytes;
    EXPECT_EQ(codes(d, &rule), "");
    d.size_bytes += 512;
    EXPECT_EQ(codes(d, &rule), "card-too-large");
    d.size_bytes = rule.min_bytes - 512;
    EXPECT_EQ(codes(d, &rule), "card-too-small");
    d.size_bytes = most_without_rule;
    EXPECT_EQ(codes(d, nullptr), "");
    d.size_bytes += 512;
    EXPECT_EQ(codes(d, nullptr), "card-too-large");
}

TEST(Devices, TheFamilysKindsOfMediumCount) {
    const Machine laptop("laptop.txt");
    auto rule = like_dunnock();
    rule.media = {"usb-stick"};
    EXPECT_EQ(codes(laptop.at("mmcblk1"), &rule), "device-kind-not-taken");
    EXPECT_EQ(codes(laptop.at("sdb"), &rule, Verdict::mind), "device-kind-unclear serial-of-reader");
    rule.media = {"sd"};
    EXPECT_EQ(codes(laptop.at("mmcblk1"), &rule), "");
    EXPECT_EQ(codes(laptop.at("sdb"), &rule), "");  // may be a reader: mind, not halt
    rule.media = {"block-device"};
    EXPECT_EQ(codes(laptop.at("mmcblk1"), &rule, Verdict::mind), "");
}

TEST(Devices, AgreementIsByTheWholeSerialOrItsLastFourCharacters) {
    FoundDevice d;
    d.serial = "4C53-aB9";
    EXPECT_TRUE(agrees(d, "4c53-ab9", false));
    EXPECT_FALSE(agrees(d, "-aB9", false));
    EXPECT_TRUE(agrees(d, " -AB9\n", true));
    EXPECT_FALSE(agrees(d, "aB9", true));
    EXPECT_FALSE(agrees(d, "xaB9", true));
    EXPECT_FALSE(agrees(d, "", true));
    d.serial = "X7";
    EXPECT_TRUE(agrees(d, "x7", true));
    EXPECT_FALSE(agrees(d, "7", true));
    d.serial.clear();
    d.size_bytes = 31116288;
    EXPECT_TRUE(agrees(d, "31116288", false));
    EXPECT_FALSE(agrees(d, "", false));
}

TEST(Devices, AKeptCardIsKnownByItsSerialInAText) {
    FoundDevice d;
    d.serial = "4C53-aB9";
    for (const char* text : {"4c53-ab9", "owner's map card #4C53-AB9", "map card (serial: 3-ab9).", "x, 4C53-aB9; y"})
        EXPECT_TRUE(named_in(d, text)) << text;
    for (const char* text : {"", "  ", "owner's map card #17", "ab9", "x4C53-aB9", "4C53-aB9x"})
        EXPECT_FALSE(named_in(d, text)) << text;
    d.serial.clear();
    d.size_bytes = 31116288;
    EXPECT_FALSE(named_in(d, "31116288"));
}

// Found by the fuzzer: it never ended.
TEST(Devices, ALinkWithoutAFolderEnds) {
    SystemView v;
    v.links["/sys/class/block/sdz"] = "longer-than-the-root";
    const auto found = find_devices(v);
    ASSERT_EQ(found.size(), 1u);
    EXPECT_EQ(found[0].bus, Bus::unknown);
}

TEST(Devices, HostileTextsDoNoHarm) {
    SystemView v;
    const std::string at = "/sys/devices/pci0000:00/usb1/1-1/h/block/sdz";
    v.links["/sys/class/block/sdz"] = at;
    v.links["/sys/class/block/"] = "";
    v.links["/sys/class/block/x"] = "nowhere";
    v.links["/sys/class/block/loopy"] = "/sys/class/block/loopy";
    v.links["/sys/devices/pci0000:00/usb1/1-1/subsystem"] = "/sys/bus/usb";
    v.files["/sys/devices/pci0000:00/usb1/1-1/serial"] = "AB\x1b[2J\nCD" + std::string(5000, 'x');
    v.files["/sys/devices/pci0000:00/usb1/1-1/product"] = "\xff\xfe";
    v.files[at + "/size"] = "36893488147419103232";  // does not fit 64 bits
    v.files[at + "/dev"] = "8:16";
    v.files[at + "/holders/a"];
    v.links["/sys/class/block/a"] = "/sys/devices/virtual/block/a";
    v.links["/sys/class/block/b"] = "/sys/devices/virtual/block/b";
    v.files["/sys/devices/virtual/block/a/holders/b"];  // hold each other
    v.files["/sys/devices/virtual/block/b/holders/a"];
    v.files["/proc/self/mountinfo"] = "\n - \n1 2 8:16\n1 2 8:16 / /a\\04 rw\n1 2 8:16 / /m\\134\\999 rw - x";
    v.files["/proc/swaps"] = "/dev/\n/dev/sdz\x01 p";
    const Machine m(v);
    const auto& d = m.at("sdz");
    EXPECT_EQ(d.size_bytes, 0u);
    EXPECT_EQ(d.serial.find('\x1b'), std::string::npos);
    EXPECT_EQ(d.serial.find('\n'), std::string::npos);
    EXPECT_LT(d.serial.size(), 400u);
    EXPECT_NE(codes(d, nullptr).find("device-no-medium"), std::string::npos);
    EXPECT_NE(codes(d, nullptr).find("device-in-use"), std::string::npos);
    for (const auto& other : m.devices) (void)may_be_erased(other, nullptr);

    v.files[at + "/size"] = "18014398509481984";  // 2^54 sectors: the bytes would not fit
    EXPECT_EQ(Machine(v).at("sdz").size_bytes, 0u);
    v.files[at + "/size"] = "-8";
    EXPECT_EQ(Machine(v).at("sdz").size_bytes, 0u);
    v.files[at + "/size"] = "8 ";
    EXPECT_EQ(Machine(v).at("sdz").size_bytes, 4096u);
}

// Whatever line of a machine's description is missing, nothing that was refused for being part of the computer becomes
// a card: what is not known speaks against it.
TEST(Devices, NoMissingLineTurnsADiskIntoACard) {
    const auto rule = like_dunnock();
    for (const char* file : {"laptop.txt", "desk.txt"}) {
        const Machine whole(file);
        const auto part_of_computer = [&](const FoundDevice& d) {
            const std::string c = codes(d, &rule);
            return c.find("device-is-a-disk") != std::string::npos || c.find("device-soldered") != std::string::npos ||
                   c.find("device-not-a-card") != std::string::npos;
        };
        std::size_t looked_at = 0;
        const auto without = [&](const SystemView& less, const std::string& line) {
            for (const auto& d : find_devices(less)) {
                const auto before = std::find_if(whole.devices.begin(), whole.devices.end(),
                                                 [&](const FoundDevice& o) { return o.name == d.name; });
                if (before == whole.devices.end() || !part_of_computer(*before)) continue;
                ++looked_at;
                EXPECT_NE(codes(d, &rule), "") << file << ": " << d.name << " without " << line;
            }
        };
        for (const auto& [path, text] : whole.view.files) {
            SystemView less = whole.view;
            less.files.erase(path);
            without(less, path);
        }
        for (const auto& [path, to] : whole.view.links) {
            SystemView less = whole.view;
            less.links.erase(path);
            without(less, path);
        }
        EXPECT_GT(looked_at, 100u);
    }
}

TEST(SystemViewText, ABadLineIsNamed) {
    EXPECT_EQ(parse_system_view("/a = b\nc", "x").error().place, "x, line 2");
    EXPECT_EQ(parse_system_view("    lost", "x").error().code, "device-view-wrong");
    const auto v = parse_system_view("/a:\n    1\n    2\n/b = \n", "x");
    ASSERT_TRUE(v) << v.error().message();
    EXPECT_EQ(v->files.at("/a"), "1\n2");
}

// --- the running system, and a made-up tree --------------------------------------------------------------------------

struct Folder {
    fs::path path;
    Folder() {
        std::string name = (fs::temp_directory_path() / "fettle-sys-XXXXXX").string();
        path = ::mkdtemp(name.data());
    }
    ~Folder() { fs::remove_all(path); }
};

// A view becomes files and links, relative as the kernel makes them.
void build(const SystemView& v, const fs::path& root) {
    for (const auto& [path, text] : v.files) {
        const fs::path at = root / path.substr(1);
        fs::create_directories(at.parent_path());
        std::ofstream(at) << text << (text.empty() ? "" : "\n");
    }
    for (const auto& [path, to] : v.links) {
        const fs::path at = root / path.substr(1), target = root / to.substr(1);
        fs::create_directories(at.parent_path());
        if (!fs::exists(target)) fs::create_directories(target);
        fs::create_symlink(target.lexically_relative(at.parent_path()), at);
    }
}

TEST(ReadSystem, SeesOnDiskWhatTheDescriptionSays) {
    for (const char* file : {"laptop.txt", "desk.txt"}) {
        const Machine described(file);
        const Folder root;
        build(described.view, root.path);
        const auto view = read_system(root.path);
        ASSERT_TRUE(view) << view.error().message();
        const Machine read(*view);
        const auto rule = like_dunnock();
        ASSERT_EQ(read.devices.size(), described.devices.size());
        for (const auto& d : described.devices) {
            const auto& r = read.at(d.name);
            EXPECT_EQ(r.serial, d.serial) << d.name;
            EXPECT_EQ(r.model, d.model) << d.name;
            EXPECT_EQ(r.size_bytes, d.size_bytes) << d.name;
            EXPECT_EQ(codes(r, &rule, Verdict::mind), codes(d, &rule, Verdict::mind)) << d.name;
        }
    }
}

TEST(ReadSystem, FollowsNoLinkOutOfItsRootAndReadsBoundedly) {
    const Folder root, outside;
    fs::create_directories(root.path / "sys/class/block");
    fs::create_directories(outside.path / "block/sdq");
    fs::create_symlink(outside.path / "block/sdq", root.path / "sys/class/block/sdq");
    fs::create_symlink("sdr", root.path / "sys/class/block/sdr");  // to itself
    const fs::path good = root.path / "sys/devices/virtual/block/loop0";
    fs::create_directories(good);
    fs::create_symlink("../../devices/virtual/block/loop0", root.path / "sys/class/block/loop0");
    std::ofstream(good / "size") << std::string(1 << 20, '7');
    ASSERT_EQ(::mkfifo((good / "dev").c_str(), 0600), 0);  // nobody writes to it
    const auto view = read_system(root.path);
    ASSERT_TRUE(view);
    EXPECT_EQ(view->links.size(), 1u);
    EXPECT_LE(view->files.at("/sys/devices/virtual/block/loop0/size").size(), 4096u);
    EXPECT_EQ(read_system(outside.path).error().code, "devices-not-listed");
}

// This machine, whatever it is: what carries "/" is never a card. In a container "/" may be on no device at all.
TEST(ReadSystem, TheRunningSystemsOwnDiskIsRefused) {
    const auto view = read_system();
    if (!view) GTEST_SKIP() << "skipped: no /sys here";
    std::size_t refused = 0;
    for (const auto& d : find_devices(*view))
        if (std::any_of(d.uses.begin(), d.uses.end(), [](const Use& u) { return u.where == "/"; })) {
            EXPECT_EQ(may_be_erased(d, nullptr).verdict(), Verdict::halt) << d.path;
            ++refused;
        }
    if (refused == 0) GTEST_SKIP() << "skipped: / is on no block device here";
}

}  // namespace
}  // namespace fettle::card
