#include "fettle/family/forms_test_help.h"

namespace fettle::family {
namespace {

const std::string package = R"(
[package]
index = "contents.xml"
form = "xml"
always = { box = "main" }
[package.release]
family = "@family"
release = "about/release"
markets = "market/@code"
installs_from = "about/@from"
counter = "@counter"
one_way_door = "about/@no-return"
cures = "about/cures"
pieces = "parts/part"
[package.piece]
name = "@name"
region = "@region"
version = "@version"
file = "file"
size = "file/@bytes"
sha256 = "sum"
issues = "@issues"
)";

const std::string good = R"(<?xml version="1.0" encoding="UTF-8"?>
<!-- a remark -->
<contents family="wren" counter="3">
  <about from="26.1.090" no-return="true"><release>27.1.110</release><cures>Hum; Hiss &amp; crackle</cures></about>
  <market code="NS"/> <market code="MD"/>
  <parts>
    <part name="tuner" region="radio" version="4.1"><file bytes="3">bin/tuner.bin</file>
      <sum>BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD</sum></part>
    <part name="clock" region="radio" version="2.0" issues="A;B"><file bytes="3">bin/clock.bin</file>
      <sum>
        ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad
      </sum></part>
  </parts>
</contents>
)";

TEST(XmlIndex, ReadsEveryMappedItem) {
    const auto r = read_index(wren(package), good);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->family, "wren");
    EXPECT_EQ(r->release, "27.1.110");
    EXPECT_EQ(r->markets, (std::vector<std::string>{"NS", "MD"}));
    EXPECT_EQ(r->installs_from, "26.1.090");
    EXPECT_EQ(r->counter, 3);
    EXPECT_TRUE(r->one_way_door);
    EXPECT_EQ(r->cures, (std::vector<std::string>{"Hum", "Hiss & crackle"}));
    ASSERT_EQ(r->pieces.size(), 2u);
    const Piece& tuner = r->pieces[0];
    EXPECT_EQ(tuner.name + " " + tuner.box + " " + tuner.region + " " + tuner.version, "tuner main radio 4.1");
    EXPECT_EQ(tuner.files.at(0).path, "bin/tuner.bin");
    EXPECT_EQ(tuner.files.at(0).size, 3u);
    EXPECT_TRUE(tuner.files.at(0).sized);
    EXPECT_EQ(tuner.files.at(0).digests.at("sha256"), sha256_abc);
    EXPECT_EQ(r->pieces[1].issues, (std::vector<std::string>{"A", "B"}));
}

TEST(XmlIndex, EveryFaultIsNamedAtItsLine) {
    const Family f = wren(package);
    struct {
        const char *from, *to, *expected;
    } cases[] = {
        {"<release>27.1.110</release>", "", "line 3 <contents> about/release: is missing"},
        {"<release>27.1.110</release>", "<release>1</release><release>2</release>",
         "stands 2 times; once was expected"},
        {"<release>27.1.110</release>", "<release><b>1</b></release>", "holds <b>; a text was expected"},
        {"<release>27.1.110</release>", "<release></release>", "is empty"},
        {"bytes=\"3\">bin/clock", "bytes=\"-3\">bin/clock", "line 9 <file> @bytes: is \"-3\"; a whole number"},
        {"bytes=\"3\">bin/clock", "bytes=\" 3\">bin/clock", "@bytes: is \" 3\"; a whole number"},
        {"bytes=\"3\">bin/clock", "bytes=\"18446744073709551616\">bin/clock", "a whole number"},
        {"bytes=\"3\">bin/clock", ">bin/clock", "line 9 <part> file/@bytes: is missing"},
        {"no-return=\"true\"", "no-return=\"maybe\"", "is \"maybe\"; true or false was expected"},
        {"name=\"clock\"", "name=\"tuner\"", "is \"tuner\" a second time for the main box"},
        {"name=\"clock\"", "name=\"clock\" name=\"other\"", "@name: stands twice in the element"},
        {"f20015ad\n", "f20015a\n", "is no sha256 digest; 64 hex digits"},
        {"</contents>", "", "is no XML from there on"},
        {"<contents", "<!DOCTYPE contents [<!ENTITY a \"b\">]><contents", "has a document type"},
        {"</contents>", "</contents><contents/>", "has 2 outermost elements"},
        {"<parts>", "<bits>", "is no XML from there on"},
        {"code=\"MD\"", "code=\"M\xFF\"", "is not UTF-8"},
    };
    for (const auto& c : cases) {
        const std::string problem = faults_of(f, replaced(good, c.from, c.to));
        EXPECT_NE(problem.find(c.expected), std::string::npos) << c.to << " gave: " << problem;
    }
    for (const char* text : {"", " ", "<", "<a/>", "{}", "<contents/>", "\xEF\xBB\xBF", "&#0;"})
        EXPECT_NE(faults_of(f, text), "") << text;
    EXPECT_NE(faults_of(f, std::string("<contents>\0</contents>", 22)).find("NUL"), std::string::npos);
}

// Entities that only a document type could declare stand for nothing here; and no depth of nesting harms.
TEST(XmlIndex, HostileDocumentsAreOnlyText) {
    const Family f = wren(package);
    const auto r = read_index(f, replaced(good, "27.1.110", "&passwd;"));
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->release, "&passwd;");
    std::string deep;
    for (int i = 0; i < 200'000; ++i) deep += "<a>";
    EXPECT_NE(faults_of(f, deep), "");
    for (int i = 0; i < 200'000; ++i) deep += "</a>";
    EXPECT_NE(faults_of(f, deep), "");
}

TEST(XmlIndex, APieceMayHaveSeveralFiles) {
    const Family f = wren(R"(
[package]
index = "c.xml"
form = "xml"
always = { box = "main", region = "radio" }
[package.release]
release = "@v"
pieces = "p"
[package.piece]
name = "@n"
files = "f"
[package.file]
path = "."
md5 = "@md5"
)");
    const auto r = read_index(
        f, "<c v=\"7\"><p n=\"a\"><f md5=\"" + md5_abc + "\">a/1</f><f md5=\"" + md5_abc + "\">a/2</f></p></c>");
    ASSERT_TRUE(r) << r.error().message();
    ASSERT_EQ(r->pieces.at(0).files.size(), 2u);
    EXPECT_EQ(r->pieces[0].files[1].path, "a/2");
    EXPECT_FALSE(r->pieces[0].files[1].sized);
    EXPECT_EQ(r->pieces[0].version, "7");  // nothing tells it: the release's
    EXPECT_NE(faults_of(f, "<c v=\"7\"><p n=\"a\"/></c>").find("a file was expected"), std::string::npos);
}

}  // namespace
}  // namespace fettle::family
