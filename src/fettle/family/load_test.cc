#include <gtest/gtest.h>

#include "fettle/base/files.h"
#include "fettle/base/source_path.h"
#include "fettle/family/family.h"
#include "fettle/family/label.h"

namespace fettle::family {
namespace {

TEST(LoadFamily, ReadsTheExampleWhole) {
    const auto f = load_family(source_path("families/dunnock.toml"));
    ASSERT_TRUE(f) << f.error().message();
    EXPECT_EQ(f->id, "dunnock");
    EXPECT_EQ(f->newest_as_of, "2026-10-02");
    ASSERT_EQ(f->boxes.size(), 2u);
    EXPECT_EQ(f->boxes[1].plate.values.at("role").at("64"), "display box");
    EXPECT_EQ(f->view.values.at("market").size(), 3u);
    EXPECT_EQ(f->script.size(), 14u);
    EXPECT_EQ(f->boot.size(), 5u);
    EXPECT_EQ(f->boot[0].when.at("update"), "pending");
    ASSERT_NE(f->region("display", "system"), nullptr);
    EXPECT_EQ(f->region("display", "system")->stores, 2);
    EXPECT_EQ(f->act("asks")->answers.size(), 2u);
    EXPECT_EQ(f->link[1].address, 0x1042);
    EXPECT_EQ(f->package->piece_fields.at("size"), "/bytes");
    EXPECT_EQ(f->digest.size(), 64u);
}

// The worked example of docs/family-file.md works as it stands there.
TEST(LoadFamily, TheExampleOfTheManualIsUsable) {
    const std::string manual = read_text_file(source_path("docs/family-file.md")).value();
    const std::string open = "<!-- example: begin -->\n```toml\n";
    const auto from = manual.find(open), to = manual.find("```\n<!-- example: end -->");
    ASSERT_NE(from, std::string::npos);
    ASSERT_NE(to, std::string::npos);
    const Loaded l = load_family_text(manual.substr(from + open.size(), to - from - open.size()));
    for (const Finding& m : l.mistakes) ADD_FAILURE() << m.line << " " << m.key << ": " << m.problem;
    EXPECT_EQ(l.family.id, "wren");
    EXPECT_TRUE(LabelMatcher::make(l.family.boxes.at(0).plate)->accepts("5801234A7"));
    EXPECT_FALSE(l.unknowns.empty());  // it is thin, and says so
}

// Every key that the loader knows is explained in the manual: the example file uses nearly all of them.
TEST(LoadFamily, TheManualNamesEveryKeyOfTheExampleFile) {
    const std::string manual = read_text_file(source_path("docs/family-file.md")).value();
    const std::string file = read_text_file(source_path("families/dunnock.toml")).value();
    std::size_t keys = 0;
    for (std::size_t from = 0; from < file.size();) {
        const std::size_t end = std::min(file.find('\n', from), file.size());
        const std::string line = file.substr(from, end - from);
        from = end + 1;
        const auto equals = line.find(" =");
        if (equals == std::string::npos || line[0] == '#' || line[0] == ' ') continue;
        std::string key = line.substr(0, equals);
        if (key.starts_with("values.")) key = "values.";
        ++keys;
        EXPECT_NE(manual.find("`" + key), std::string::npos) << key;
    }
    EXPECT_GT(keys, 200u);
}

}  // namespace
}  // namespace fettle::family
