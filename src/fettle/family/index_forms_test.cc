// The flat forms: tables (RFC 4180), INI, and CycloneDX 1.5 (ECMA-424).
#include <array>

#include "fettle/family/forms_test_help.h"

namespace fettle::family {
namespace {

const std::string always = "always = { box = \"main\", region = \"radio\" }\n";
const std::string csv_package = "[package]\nindex = \"list.csv\"\nform = \"csv\"\n" + always + R"(
[package.release]
release = "release"
family = "#family"
markets = "#markets"
[package.piece]
name = "part"
version = "version"
file = "file"
size = "bytes"
md5 = "md5"
issues = "issues"
)";
const std::string csv =
    "# family: wren\n# markets: NS;MD\nrelease,part,version,file,bytes,md5,issues\r\n"
    "27.1.110,tuner,4.1,bin/tuner.bin,3," +
    md5_abc +
    ",\r\n"
    "27.1.110,\"clo\"\"ck\",2.0,\"bin/a,b.bin\",3," +
    md5_abc + ",A;B\n";

void expect_faults(const Family& f, const std::string& good, const std::vector<std::array<std::string, 3>>& cases) {
    for (const auto& [from, to, expected] : cases) {
        const std::string problem = faults_of(f, replaced(good, from, to));
        EXPECT_NE(problem.find(expected), std::string::npos) << to << " gave: " << problem;
    }
}

// A wheel's RECORD (packaging.python.org, "Recording installed projects"): no head, digests in URL-safe base64 without
// padding behind their algorithm, the last line names the list itself.
TEST(TableIndex, ReadsATableWithoutAHeadAndDigestsInBase64) {
    const std::string package =
        "[package]\nindex = \"RECORD\"\nform = \"csv\"\ncolumns = [\"path\", \"digest\", \"bytes\"]\n" + always + R"(
path_pattern = '(?P<name>[a-z]+)-(?P<release>[0-9.]+)\.bin'
[package.release]
[package.piece]
file = "path"
size = "bytes"
sha256 = "digest"
)";
    const std::string record = "tuner-2.1.bin,sha256=ungWv48Bz-pBQUDeXa4iI7ADYaOWF3qctBD_YfIAFa0,3\nRECORD,,\n";
    const auto r = read_index(wren(package), record);
    ASSERT_TRUE(r) << r.error().message();
    ASSERT_EQ(r->pieces.size(), 1u);
    EXPECT_EQ(r->pieces[0].files[0].digests.at("sha256"), sha256_abc);
    // The other alphabet with padding, and hex in capitals, are the same digest; one letter less is none.
    for (const char* same : {"ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=",
                             "BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD"}) {
        const auto again = read_index(wren(package), std::string("tuner-2.1.bin,") + same + ",3\n");
        ASSERT_TRUE(again) << again.error().message();
        EXPECT_EQ(again->pieces[0].files[0].digests.at("sha256"), sha256_abc);
    }
    EXPECT_NE(faults_of(wren(package), replaced(record, "ungW", "ung")).find("no sha256 digest"), std::string::npos);
    EXPECT_NE(faults_of(wren(package), "tuner-2.1.bin,x\n").find("has 2 cells, its head 3"), std::string::npos);
}

TEST(TableIndex, ReadsEveryMappedColumn) {
    const auto r = read_index(wren(csv_package), csv);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->family + " " + r->release, "wren 27.1.110");
    EXPECT_EQ(r->markets, (std::vector<std::string>{"NS", "MD"}));
    ASSERT_EQ(r->pieces.size(), 2u);
    EXPECT_EQ(r->pieces[1].name, "clo\"ck");
    EXPECT_EQ(r->pieces[1].files.at(0).path, "bin/a,b.bin");
    EXPECT_EQ(r->pieces[1].files.at(0).size, 3u);
    EXPECT_EQ(r->pieces[1].issues, (std::vector<std::string>{"A", "B"}));
    EXPECT_TRUE(r->pieces[0].issues.empty());
    // Other separators: the same table by tabs, and by semicolons.
    std::string tsv = csv;
    for (char& c : tsv)
        if (c == ',') c = '\t';
    EXPECT_TRUE(read_index(wren(replaced(csv_package, "\"csv\"", "\"tsv\"")), replaced(tsv, "a\tb", "a,b")));
    std::string semi = "release;part;version;file;bytes;md5;issues\n27.1;t;4;t.bin;3;" + md5_abc + ";\n";
    EXPECT_FALSE(read_index(wren(csv_package), semi));
    const Family f = wren(replaced(replaced(csv_package, "family = \"#family\"\nmarkets = \"#markets\"\n", ""),
                                   "form = \"csv\"", "form = \"csv\"\nseparator = \";\""));
    EXPECT_TRUE(read_index(f, semi)) << faults_of(f, semi);
}

TEST(TableIndex, EveryFaultIsNamedAtItsLine) {
    const Family f = wren(csv_package);
    expect_faults(
        f, csv,
        {{",bytes,", ",octets,", "line 3: has no column \"bytes\""},
         {",bytes,", ",part,", "names the column \"part\" twice"},
         {"27.1.110,\"clo", "27.3.118,\"clo", "line 5 release: is \"27.3.118\", in a line before \"27.1.110\""},
         {"tuner,4.1,", "tuner,", "line 4: has 6 cells, its head 7"},
         {"bin,3,", "bin,3.5,", "line 4 bytes: is \"3.5\"; a whole number"},
         {"\"clo\"\"ck\"", "\"clo\"ck\"", "line 5: has something behind a quoted cell"},
         {"\"clo\"\"ck\"", "clo\"ck", "has a quotation mark within an unquoted cell"},
         {"\"bin/a,b.bin\"", "\"bin/a,b.bin", "line 5: has a quoted cell that never ends"},
         {"tuner,", ",", "line 4 part: is missing"},
         {"# family: wren", "# famly: wren", "#family: is missing"}});
    EXPECT_NE(faults_of(f, "").find("lists no file"), std::string::npos);
    EXPECT_NE(faults_of(f, csv.substr(0, csv.find("27.1"))).find("lists no file"), std::string::npos);
}

const std::string ini_package = "[package]\nindex = \"set.ini\"\nform = \"ini\"\n" + always + R"(
[package.release]
release = "about/version"
counter = "about/counter"
pieces = "part *"
[package.piece]
name = "*"
version = "version"
file = "file"
size = "bytes"
sha256 = "sha256"
)";
const std::string ini =
    "; remark\n[about]\nversion = \"27.1.110\"\r\ncounter=3\n\n[part tuner]\nversion = 4.1\nfile = bin/tuner.bin\n"
    "bytes = 3\nsha256 = " +
    sha256_abc +
    "\n[other]\nkey = value=with=equals\n[part clock]\nversion = 2\n"
    "file = bin/clock.bin\nbytes = 3\nsha256 = " +
    sha256_abc + "\n";

TEST(IniIndex, ReadsSectionsByTheirName) {
    const auto r = read_index(wren(ini_package), ini);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->release, "27.1.110");
    EXPECT_EQ(r->counter, 3);
    ASSERT_EQ(r->pieces.size(), 2u);
    EXPECT_EQ(r->pieces[0].name + " " + r->pieces[0].version, "tuner 4.1");
    EXPECT_EQ(r->pieces[1].files.at(0).path, "bin/clock.bin");
    expect_faults(wren(ini_package), ini,
                  {{"[part clock]", "[part tuner]", "begins [part tuner] a second time"},
                   {"bytes = 3\n", "bytes = 3\nbytes = 4\n", "line 10: gives \"bytes\" a second time"},
                   {"[other]", "[other", "line 11: is no section"},
                   {"[other]", "[]", "line 11: is no section"},
                   {"counter=3", "counter", "line 4: is neither a section nor"},
                   {"[about]", "[About]", "set.ini about/version: is missing"},
                   {"file = bin/tuner.bin\n", "", "line 6 [part tuner] file: is missing"}});
    EXPECT_NE(faults_of(wren(ini_package), "[about]\nversion=1\n").find("has no section [part *]"), std::string::npos);
}

const std::string inventory_package = "[package]\nindex = \"bom.json\"\nform = \"cyclonedx\"\n" + always + R"(
[package.release]
family = "/metadata/component/name"
markets = "property markets"
[package.piece]
file = "property path"
size = "property bytes"
)";
const std::string inventory = R"({"bomFormat": "CycloneDX", "specVersion": "1.5", "version": 1,
  "metadata": {"component": {"type": "firmware", "name": "wren", "version": "27.1.110",
                             "properties": [{"name": "markets", "value": "NS;MD"}]}},
  "components": [
    {"type": "library", "name": "zlib", "version": "1.3"},
    {"type": "firmware", "name": "tuner", "version": "4.1", "hashes": [
       {"alg": "SHA-256", "content": ")" +
                              sha256_abc + R"("}, {"alg": "BLAKE3", "content": "00"}],
     "properties": [{"name": "path", "value": "bin/tuner.bin"}, {"name": "bytes", "value": "3"}]}]})";

TEST(CycloneDxIndex, ReadsFirmwareComponents) {
    const Family f = wren(inventory_package);
    const auto r = read_index(f, inventory);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->family + " " + r->release, "wren 27.1.110");
    EXPECT_EQ(r->markets, (std::vector<std::string>{"NS", "MD"}));
    ASSERT_EQ(r->pieces.size(), 1u);
    EXPECT_EQ(r->pieces[0].name + " " + r->pieces[0].version, "tuner 4.1");
    EXPECT_EQ(r->pieces[0].files.at(0).size, 3u);
    EXPECT_EQ(r->pieces[0].files.at(0).digests.at("sha256"), sha256_abc);
    expect_faults(
        f, inventory,
        {{"CycloneDX", "CyclonDX", "is no CycloneDX inventory"},
         {"\"1.5\"", "\"1.4\"", "/specVersion: is not \"1.5\""},
         {"\"type\": \"firmware\", \"name\": \"tuner\"", "\"type\": \"x\", \"name\": \"tuner\"",
          "has no component of type firmware or file"},
         {"\"alg\": \"BLAKE3\"", "\"alg\": \"SHA-256\"", "/components/1/hashes/1: gives SHA-256 a second time"},
         {"\"content\": \"ba", "\"content\": \"b", "/components/1/hashes/0/content: is no sha256 digest"},
         {"{\"name\": \"bytes\"", "{\"name\": \"path\"", "gives the property \"path\" a second time"},
         {"\"value\": \"3\"", "\"value\": []", "is a list; a whole number"},
         {"\"version\": \"27.1.110\",", "", "/metadata/component/version: is missing"},
         {"\"components\": [", "\"components\": [7,", "/components/0: is no object"}});
    for (const char* text :
         {"", "[]", "{}", "null", "{\"bomFormat\":\"CycloneDX\",\"specVersion\":\"1.5\",\"components\":{}}"})
        EXPECT_NE(faults_of(f, text), "") << text;
}

TEST(PackageSection, TheFlatFormsAreCheckedToo) {
    for (const auto& [text, key] :
         {std::pair(replaced(csv_package, "file = \"file\"", ""), "package.piece.file"),
          {replaced(csv_package, "form = \"csv\"", "form = \"csv\"\nseparator = \"ab\""), "package.separator"},
          {replaced(ini_package, "part *", "part"), "package.release.pieces"},
          {replaced(ini_package, "about/counter", "counter"), "package.release.counter"},
          {replaced(inventory_package, "property path", "path"), "package.piece.file"},
          {replaced(csv_package, "\"csv\"", "\"yaml\""), "package.form"}}) {
        bool found = false;
        for (const Finding& f : wren_with(text).mistakes) found = found || f.key == key;
        EXPECT_TRUE(found) << key;
    }
}

}  // namespace
}  // namespace fettle::family
