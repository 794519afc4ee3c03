// The signature of a family file: checked by Ed25519 as RFC 8032 has it; every byte counts.
#include "fettle/family/signed.h"

#include <gtest/gtest.h>

#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/source_path.h"

namespace fettle::family {
namespace {

const std::string text = "# notes\n[family]\nid = \"wren\"\n";

Bytes seed() {
    // RFC 8032, 7.1, TEST 1.
    return *unhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60");
}

TEST(Signed, SaysByWhomAndStaysTomlAndIsReplacedNotStacked) {
    const std::string once = sign_family(text, " R. Marsh\n", seed());
    const Signature s = check_family_signature(once);
    EXPECT_EQ(s.state, Signed::good);
    EXPECT_EQ(s.public_key, "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a");  // RFC 8032
    EXPECT_EQ(without_signature(once), text);
    EXPECT_EQ(sign_family(once, " R. Marsh\n", seed()), once);
    EXPECT_EQ(check_family_signature(text).state, Signed::none);
    EXPECT_EQ(check_family_signature(sign_family("", "", seed())).state, Signed::good);
    // As any verifier has it: over the fixed words, the name, and what stands above.
    const std::string message = "fettle family file\n" + s.by + "\n" + text;
    const std::string hexed = once.substr(once.rfind("# signature: ") + 13, 128);
    EXPECT_TRUE(ed25519_verify(*unhex(s.public_key), Bytes(message.begin(), message.end()), *unhex(hexed)));
}

TEST(Signed, EveryChangedByteIsSeen) {
    const std::string good = sign_family(text, "R. Marsh", seed());
    for (std::size_t i = 0; i < good.size(); ++i) {
        std::string bad = good;
        bad[i] = static_cast<char>(bad[i] ^ 1);
        EXPECT_EQ(check_family_signature(bad).state, Signed::changed) << i;
        bad = good;
        bad.erase(i, 1);
        EXPECT_EQ(check_family_signature(bad).state, Signed::changed) << i;
    }
    EXPECT_EQ(check_family_signature(good + "\n").state, Signed::changed);
    EXPECT_EQ(check_family_signature(good + "[[hold]]\n").state, Signed::changed);
    std::string crlf;
    for (const char c : good) crlf += c == '\n' ? std::string("\r\n") : std::string(1, c);
    EXPECT_EQ(check_family_signature(crlf).state, Signed::changed);
    EXPECT_EQ(check_family_signature("# signature: to come\n" + std::string(text)).state, Signed::none);
    std::string upper = good;
    const std::size_t at = upper.rfind("# key: ");
    for (std::size_t i = at + 7; i < at + 71; ++i) upper[i] = static_cast<char>(std::toupper(upper[i]));
    EXPECT_EQ(check_family_signature(upper).state, Signed::changed);
}

TEST(Signed, LongTextsAreNamedAndCertificatesAreNone) {
    const std::string prose(301, 'x');
    EXPECT_EQ(long_texts("[family]\nprimer = [\"short\", \"" + prose + "\"]\n"),
              std::vector<std::string>{"family.primer[2]: 301 characters"});
    for (const char* name : {"dunnock", "brill", "pelm"}) {
        const auto file = read_text_file(source_path(std::string("families/") + name + ".toml"), 1 << 20);
        ASSERT_TRUE(file);
        EXPECT_TRUE(long_texts(*file).empty()) << name << ": " << long_texts(*file)[0];
    }
}

}  // namespace
}  // namespace fettle::family
