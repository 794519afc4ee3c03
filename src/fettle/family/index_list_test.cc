#include "fettle/family/forms_test_help.h"

namespace fettle::family {
namespace {

const std::string package = R"(
[package]
index = "SHA256SUMS"
form = "digest-list"
digest = "sha256"
always = { box = "main" }
path_pattern = '(?P<region>[a-z]+)/(?P<name>[a-z]+)(?:\.part\d)?-(?P<version>[0-9.]+)(?:-(?P<issue>[A-F]))?\.bin'
[package.release]
release = "#release"
markets = "#markets"
counter = "#counter"
)";

std::string line(const std::string& path) {
    return sha256_abc + "  " + path + "\n";
}
const std::string head = "# made by nobody\n# release: 27.1.110\n# markets: NS; MD\n";
const std::string good = head + line("radio/tuner-4.1.bin") + line("radio/clock-2.0-B.bin");

TEST(DigestList, ReadsPathsByTheirPattern) {
    const auto r = read_index(wren(package), good);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->release, "27.1.110");
    EXPECT_EQ(r->markets, (std::vector<std::string>{"NS", "MD"}));
    ASSERT_EQ(r->pieces.size(), 2u);
    EXPECT_EQ(r->pieces[0].name + " " + r->pieces[0].box + " " + r->pieces[0].region + " " + r->pieces[0].version,
              "tuner main radio 4.1");
    EXPECT_TRUE(r->pieces[0].issues.empty());
    EXPECT_EQ(r->pieces[1].issues, std::vector<std::string>{"B"});
    const PieceFile& file = r->pieces[0].files.at(0);
    EXPECT_EQ(file.path, "radio/tuner-4.1.bin");
    EXPECT_EQ(file.digests.at("sha256"), sha256_abc);
    EXPECT_FALSE(file.sized);
    Release filled = *r;
    fill_sizes(filled, [](const std::string& path) -> std::optional<std::uint64_t> {
        if (path == "radio/tuner-4.1.bin") return 3;
        return std::nullopt;
    });
    EXPECT_EQ(filled.bytes(), 3u);
}

// The three spellings of sha256sum and its kin (coreutils manual, "Output format", from memory).
TEST(DigestList, ReadsEverySpelling) {
    const Family f = wren(package);
    for (const std::string& spelt :
         std::vector<std::string>{line("radio/tuner-4.1.bin"), sha256_abc + " *radio/tuner-4.1.bin\r\n",
                                  line("./radio/tuner-4.1.bin"), "SHA256 (radio/tuner-4.1.bin) = " + sha256_abc + "\n",
                                  std::string("SHA2-256 (x) = 0\n"), sha256_abc + "  radio/tuner-4.1.bin"}) {
        const auto r = read_index(f, "\xEF\xBB\xBF" + head + "\n" + spelt);
        if (spelt.starts_with("SHA2-256")) {
            EXPECT_FALSE(r);
            continue;
        }
        ASSERT_TRUE(r) << r.error().message();
        EXPECT_EQ(r->pieces.at(0).files.at(0).path, "radio/tuner-4.1.bin");
    }
}

TEST(DigestList, LinesOfOnePieceBelongTogether) {
    const Family f = wren(package);
    const auto r = read_index(
        f, head + line("radio/tuner.part1-4.1.bin") + line("radio/clock-2.0.bin") + line("radio/tuner.part2-4.1.bin"));
    ASSERT_TRUE(r) << r.error().message();
    ASSERT_EQ(r->pieces.size(), 2u);
    EXPECT_EQ(r->pieces[0].files.size(), 2u);
    const std::string problem =
        faults_of(f, head + line("radio/tuner.part1-4.1.bin") + line("radio/tuner.part2-4.2.bin"));
    EXPECT_NE(problem.find("line 5 path: is a further file of piece \"tuner\" but of another"), std::string::npos)
        << problem;
}

TEST(DigestList, EveryFaultIsNamedAtItsLine) {
    const Family f = wren(package);
    struct {
        std::string text, expected;
    } cases[] = {
        {line("radio/tuner-4.1.bin"), "SHA256SUMS #release: is missing"},
        {head, "lists no file"},
        {head + "# release: 2\n" + line("radio/tuner-4.1.bin"), "line 4: gives #release a second time"},
        {"# counter: many\n" + good, "line 1: is \"many\"; a whole number"},
        {good + line("tuner.bin"), "line 6 path: \"tuner.bin\" is not of the form of the family file's path_pattern"},
        {good + line("../radio/tuner-4.1.bin"), "is not of the form"},
        {good + sha256_abc.substr(1) + "  radio/x-1.bin\n", "line 6 digest: is no sha256 digest"},
        {good + sha256_abc + " radio/x-1.bin\n", "line 6: is no digest, two blanks"},
        {good + "\\" + line("radio/x-1.bin"), "is no sha256 digest"},
        {good + sha256_abc + "  ", "is no digest, two blanks"},
        {good + "MD5 (radio/x-1.bin) = " + md5_abc, "is of another algorithm"},
        {good + "SHA256 (radio/x-1.bin " + sha256_abc, "has no \") = \""},
        {std::string(1000, 'x'), "is no digest"},
        {"", "lists no file"},
    };
    for (const auto& c : cases)
        EXPECT_NE(faults_of(f, c.text).find(c.expected), std::string::npos)
            << c.text << "\ngave: " << faults_of(f, c.text);
}

// The release may stand in the paths alone; then files of two releases are not one.
TEST(DigestList, PathsOfTwoReleasesAreNamed) {
    const Family f = wren(R"(
[package]
index = "MD5SUMS"
form = "digest-list"
digest = "md5"
always = { box = "main", region = "radio" }
path_pattern = '(?P<release>[0-9.]+)/(?P<name>[a-z]+)\.bin'
)");
    const std::string one = md5_abc + "  27.1/a.bin\n";
    const auto r = read_index(f, one + md5_abc + "  27.1/b.bin\n");
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->release, "27.1");
    EXPECT_EQ(r->pieces.at(1).version, "27.1");
    EXPECT_NE(faults_of(f, one + md5_abc + "  27.2/b.bin\n").find("is of release \"27.2\", not \"27.1\""),
              std::string::npos);
}

TEST(PackageSection, EveryMistakeIsNamed) {
    struct {
        std::string text, key, expected;
    } cases[] = {
        {replaced(package, "digest = \"sha256\"", ""), "package.digest", "missing"},
        {replaced(package, "digest = \"sha256\"", "digest = \"sha3\""), "package.digest", "sha3"},
        {replaced(package, "always = { box = \"main\" }", ""), "package.piece", "nothing tells the box"},
        {replaced(package, "release = \"#release\"", ""), "package.release", "nothing tells the release"},
        {replaced(package, "\"#release\"", "\"release\""), "package.release.release", "the name of a remark"},
        {replaced(package, "P<region>", "P<area>"), "package.path_pattern", "has a field \"area\""},
        {replaced(package, "(?P<region>", "(?P<region"), "package.path_pattern", "is no pattern"},
        {package + "[package.piece]\nname = \"/n\"\n", "package.piece", "means nothing here"},
        {package + "[package.signature]\nform = \"cms\"\nfile = \"s\"\ncertificates = [\"no\"]\n",
         "package.signature.certificates[1]", "is no X.509 certificate"},
        {package + "[package.signature]\nform = \"cms\"\nfile = \"s\"\n", "package.signature.certificates", "missing"},
        {package + "[package.signature]\nform = \"cms\"\nfile = \"s\"\nkey = \"00\"\ncertificates = [\"no\"]\n",
         "package.signature.key", "not known"},
    };
    for (const auto& c : cases) {
        const Loaded l = wren_with(c.text);
        bool found = false;
        for (const Finding& f : l.mistakes)
            found = found || (f.key == c.key && f.problem.find(c.expected) != std::string::npos);
        std::string all;
        for (const Finding& f : l.mistakes) all += f.key + ": " + f.problem + "\n";
        EXPECT_TRUE(found) << c.key << " " << c.expected << "\n" << all;
    }
}

}  // namespace
}  // namespace fettle::family
