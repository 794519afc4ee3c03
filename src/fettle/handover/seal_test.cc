#include "fettle/handover/seal.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"

namespace fettle::handover {
namespace {

namespace fs = std::filesystem;

// RFC 8032, 7.1, test 1.
const Bytes kSeed = *unhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60");
const std::string kPublic = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a";
const std::string kWith = "fettle handover check";
const std::string kHtml = "<!DOCTYPE html>\n<html>\n<body>\n<p>Updated.</p>\n</body>\n</html>\n";

struct Folder {
    Folder() {
        std::string t = (fs::temp_directory_path() / "fettle-keys-XXXXXX").string();
        path = ::mkdtemp(t.data());
    }
    ~Folder() { fs::remove_all(path); }
    fs::path path;
};

TEST(Seal, UnchangedIsSaidWithKeyAndFingerprint) {
    const std::string sheet = seal(kHtml, kSeed, kWith);
    const Checked c = check(sheet, kWith);
    EXPECT_EQ(c.seal, Seal::unchanged) << c.why;
    EXPECT_EQ(c.public_key, kPublic);
    EXPECT_EQ(c.fingerprint, key_fingerprint(*unhex(kPublic)));
    EXPECT_NE(sheet.find("<b>" + c.fingerprint + "</b>"), std::string::npos);
    EXPECT_NE(sheet.find("does not prove that what the sheet says is true"), std::string::npos);
    EXPECT_TRUE(sheet.ends_with("</body>\n</html>\n"));
    EXPECT_EQ(c.sheet_sha256, sha256_hex(sheet));
}
TEST(Seal, CoversEveryByteBeforeItsBlock) {
    const std::string sheet = seal(kHtml, kSeed, kWith);
    const auto at = sheet.find("<section class=\"seal\"");
    const auto sig = sheet.find("data-signature=\"") + 16;
    EXPECT_TRUE(ed25519_verify(*unhex(kPublic), as_bytes(std::string_view(sheet).substr(0, at)),
                               *unhex(sheet.substr(sig, 128))));
}
// Story 49: a sheet edited by one byte does not verify: every byte of it, two ways each.
TEST(Seal, AnyOneByteChangedIsSeen) {
    const std::string sheet = seal(kHtml, kSeed, kWith);
    for (std::size_t i = 0; i < sheet.size(); ++i) {
        for (int flip : {1, 0x20}) {
            std::string edited = sheet;
            edited[i] = static_cast<char>(edited[i] ^ flip);
            EXPECT_NE(check(edited, kWith).seal, Seal::unchanged) << i;
        }
    }
}
TEST(Seal, AnyCutOrAdditionIsSeen) {
    const std::string sheet = seal(kHtml, kSeed, kWith);
    for (std::size_t n = 0; n < sheet.size(); ++n)
        EXPECT_NE(check(sheet.substr(0, n), kWith).seal, Seal::unchanged) << n;
    EXPECT_EQ(check(sheet + " ", kWith).seal, Seal::changed);
    EXPECT_EQ(check(" " + sheet, kWith).seal, Seal::changed);
}
TEST(Seal, SealedAgainByAnotherKeyIsThatKeys) {
    const Bytes other(32, 7);
    const Checked c = check(seal(kHtml, other, kWith), kWith);
    EXPECT_EQ(c.seal, Seal::unchanged);
    EXPECT_NE(c.public_key, kPublic);
}
// The words that say how to check it are sealed bytes, too: nobody can send a customer elsewhere.
TEST(Seal, OtherWordsToCheckItWithAreAChange) {
    EXPECT_EQ(check(seal(kHtml, kSeed, "elsewhere"), kWith).seal, Seal::changed);
}
TEST(Seal, NoSealIsSaid) {
    EXPECT_EQ(check(kHtml, kWith).seal, Seal::none);
    EXPECT_EQ(check("", kWith).seal, Seal::none);
}

RC_GTEST_PROP(SealProperty, AnyBytesAreAnswered, (const std::string& bytes)) {
    RC_ASSERT(check(bytes, kWith).seal != Seal::unchanged);
    RC_ASSERT(check("<section class=\"seal\" data-fettle-seal=\"1\" data-key=\"" + bytes, kWith).seal == Seal::changed);
    RC_ASSERT(check(seal(bytes, kSeed, kWith), kWith).seal == Seal::unchanged);
}

TEST(ShopKey, IsMadeOnceForItsOwnerOnly) {
    Folder f;
    const auto first = shop_key(f.path);
    ASSERT_TRUE(first) << first.error().message();
    EXPECT_TRUE(first->made_now);
    struct stat info{};
    ASSERT_EQ(::stat((f.path / "shop.seed").c_str(), &info), 0);
    EXPECT_EQ(info.st_mode & 0777, 0600u);
    const auto second = shop_key(f.path);
    EXPECT_FALSE(second->made_now);
    EXPECT_EQ(first->seed, second->seed);
    EXPECT_EQ(known_as(f.path, hex(ed25519_public(first->seed))), "shop");
    EXPECT_EQ(known_as(f.path, kPublic), "");
    int files = 0;
    for (const auto& e : fs::recursive_directory_iterator(f.path)) files += e.is_regular_file();
    EXPECT_EQ(files, 2);  // nothing half-done beside them
}
TEST(ShopKey, ADamagedOrOpenKeyIsRefusedAndLeftAlone) {
    Folder f;
    std::ofstream(f.path / "shop.seed") << "zork\n";
    fs::permissions(f.path / "shop.seed", fs::perms::owner_read | fs::perms::owner_write);
    EXPECT_EQ(shop_key(f.path).error().code, "key-unreadable");
    fs::permissions(f.path / "shop.seed", fs::perms::group_read, fs::perm_options::add);
    EXPECT_EQ(shop_key(f.path).error().code, "key-open-to-others");
    std::string text;
    std::getline(std::ifstream(f.path / "shop.seed"), text);
    EXPECT_EQ(text, "zork");
}
TEST(ShopKey, KnownKeysOfOthersHaveTheirNames) {
    Folder f;
    fs::create_directories(f.path / "known");
    std::ofstream(f.path / "known" / "heron-garage.pub") << kPublic << "\n";
    EXPECT_EQ(known_as(f.path, kPublic), "heron-garage");
    EXPECT_EQ(known_as(f.path / "nowhere", kPublic), "");
}

}  // namespace
}  // namespace fettle::handover
