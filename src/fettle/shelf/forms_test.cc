// Whole packages in other forms than the example maker's JSON, through the shelf: an XML index with a CMS signature
// made by the openssl program, and a plain digest list, unsigned, made by sha256sum.
#include "fettle/family/forms_test_help.h"
#include "fettle/shelf/package.h"
#include "fettle/shelf/package_texts.h"
#include "fettle/shelf/shelf_test_help.h"

namespace fettle::shelf {
namespace {

std::string text_of(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

struct FormsTest : testing::Test {
    TempFolder t;
    Shelf shelf = Shelf::open(t.path / "shelf").value();
    fs::path at = t.path / "p";

    void run(const std::string& command) {
        EXPECT_EQ(shell("cd '" + t.path.string() + "' && (" + command + ")"), 0) << command;
    }
};

struct XmlCmsTest : FormsTest {
    family::Family family;

    XmlCmsTest() {
        run("openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout ca.key -out ca.pem -days 30 "
            "-subj "
            "'/CN=Vellmoor root'");
        run("openssl req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout s.key -out s.csr -subj "
            "'/CN=Vellmoor "
            "release signing'");
        run("openssl x509 -req -in s.csr -CA ca.pem -CAkey ca.key -CAcreateserial -days 20 -out s.pem");
        family = family::wren(R"(
[package]
index = "contents.xml"
form = "xml"
always = { box = "main", region = "radio" }
[package.release]
family = "@family"
release = "@release"
pieces = "part"
[package.piece]
name = "@name"
version = "@version"
file = "."
size = "@bytes"
sha256 = "@sha256"
[package.signature]
form = "cms"
file = "contents.p7s"
signer = "Vellmoor release signing"
certificates = ["""
)" + text_of(t.path / "ca.pem") +
                              "\"\"\"]\n");
        write(at / "bin/tuner.bin", "abc");
        index("family='wren' release='27.1.110'");
    }
    void index(const std::string& attributes) {
        write(at / "contents.xml", "<c " + attributes + "><part name='tuner' version='4.1' bytes='3' sha256='" +
                                       family::sha256_abc + "'>bin/tuner.bin</part></c>");
        sign();
    }
    void sign(const std::string& more = "-signer s.pem -inkey s.key") {
        run("openssl cms -sign -binary -in p/contents.xml -outform DER -out p/contents.p7s " + more);
    }
};

TEST_F(XmlCmsTest, AWholePackageIsShelvedAndGivenBack) {
    const auto added = shelf.add(family, request(at), SystemClock());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(added->vetting.signature, SignatureState::good);
    EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::fit);
    std::string got;
    ASSERT_TRUE(shelf.read("wren", "27.1.110", "bin/tuner.bin", [&](ByteView b) -> Status {
        got += as_text(b);
        return {};
    }));
    EXPECT_EQ(got, "abc");
    EXPECT_EQ(shelf.files("wren", "27.1.110")->size(), 3u);
}

TEST_F(XmlCmsTest, EveryWayToLoseTheSignatureIsRefused) {
    write(at / "contents.xml", text_of(at / "contents.xml") + "\n");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"signature-bad"});
    sign("-signer ca.pem -inkey ca.key");  // the right chain, but another name
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"signature-unknown-signer"});
    sign();
    family.package->signature_needs = 2;
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"signature-too-few"});
    write(at / "contents.p7s", "no");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"signature-form"});
    fs::remove(at / "contents.p7s");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"signature-missing"});
    EXPECT_TRUE(shelf.list()->empty());
}

TEST_F(XmlCmsTest, DatesAreAMind) {
    for (const auto& [days, code] : {std::pair(40, "signature-expired"), {-40, "signature-not-yet"}}) {
        const ManualClock clock(SystemClock().now() + days * 86'400'000ll);
        const auto added = shelf.add(family, request(at), clock);
        ASSERT_TRUE(added) << added.error().message();
        EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::mind);
        EXPECT_TRUE(has_code(added->vetting.judgement, code));
        EXPECT_EQ(added->vetting.signature, SignatureState::good);
    }
}

TEST_F(XmlCmsTest, TheIndexMustNameTheFamily) {
    index("family='brill' release='27.1.110'");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"wrong-family"});
}

struct DigestListTest : FormsTest {
    family::Family family = family::wren(R"(
[package]
index = "SHA256SUMS"
form = "digest-list"
digest = "sha256"
always = { box = "main" }
path_pattern = '(?P<region>[a-z]+)/(?P<name>[a-z]+)-(?P<version>[0-9.]+)\.bin'
[package.release]
release = "#release"
)");
    DigestListTest() {
        write(at / "radio/tuner-4.1.bin", "abc");
        write(at / "radio/clock-2.0.bin", std::string(100'000, 'c'));
        run("cd p && (echo '# release: 27.1.110'; sha256sum radio/*) > SHA256SUMS");
    }
};

TEST_F(DigestListTest, AWholePackageIsShelvedWithTheSizesItHas) {
    const auto added = shelf.add(family, request(at), noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::mind);  // whole, origin not proven
    EXPECT_TRUE(has_code(added->vetting.judgement, "signature-absent"));
    const auto found = shelf.find("wren", "27.1.110");
    ASSERT_TRUE(found);
    EXPECT_EQ(found->release.bytes(), 100'003u);
    EXPECT_EQ(found->release.piece("main", "clock")->files.at(0).size, 100'000u);
}

TEST_F(DigestListTest, WhatIsChangedMissingOrSurplusIsRefused) {
    write(at / "radio/tuner-4.1.bin", "abd");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"digest-differs"});
    write(at / "radio/tuner-4.1.bin", "abcd");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"digest-differs"});
    fs::remove(at / "radio/tuner-4.1.bin");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"file-missing"});
    write(at / "radio/tuner-4.1.bin", "abc");
    write(at / "radio/more-1.0.bin", "abc");
    EXPECT_EQ(refusal(shelf, request(at), family), std::set<std::string>{"file-surplus"});
    EXPECT_TRUE(shelf.list()->empty());
}

// What is kept while a compressed tar is listed needs no second going through: here there is nothing left to go
// through.
TEST_F(FormsTest, ACompressedTarGivesItsIndexFromTheListing) {
    write(at / "b.bin", std::string(5000, 'b'));
    write(at / "index.txt", "what is in it");
    run("tar -C p -cJf p.tar.xz b.bin index.txt");
    auto package = open_package(t.path / "p.tar.xz", {"index.txt", "not-there"});
    ASSERT_TRUE(package);
    auto plain = open_package(t.path / "p.tar.xz");
    ASSERT_TRUE(plain);
    fs::remove(t.path / "p.tar.xz");
    const auto text = [](Package& of, const std::string& path) -> Result<std::string> {
        std::vector<bool> wanted;
        for (const Member& m : of.members()) wanted.push_back(m.path == path);
        std::string out;
        auto done = of.visit(wanted, [&](std::size_t, const Read& read) { return read_whole(read, 100, path, out); });
        if (!done) return pass(done);
        return out;
    };
    EXPECT_EQ(text(**package, "index.txt").value_or(""), "what is in it");
    EXPECT_FALSE(text(**package, "b.bin"));
    EXPECT_FALSE(text(**plain, "index.txt"));
}

}  // namespace
}  // namespace fettle::shelf
