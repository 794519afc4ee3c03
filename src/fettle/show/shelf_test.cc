#include "fettle/show/shelf.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"
#include "fettle/show/shelf_care.h"

namespace fettle::show {
namespace {

std::string shown(const Proposal& act) {
    return "<" + std::string(name_of(act.act)) + ">";
}

shelf::Outline outline(const std::string& release) {
    shelf::Outline o;
    o.family = "dunnock";
    o.release.release = release;
    o.slip.right = shelf::Right::own_work;
    o.bytes = 2048;
    return o;
}

TEST(ShowShelf, AnEmptyListSaysWhy) {
    EXPECT_EQ(shelf_list({}).headline, "The shelf is empty.");
    workshop::ShelfList list;
    list.family = "brill";
    EXPECT_EQ(shelf_list(list).headline, "Nothing of brill is on the shelf.");
    list.narrowed = true;
    Answer a = shelf_list(list);
    EXPECT_EQ(a.headline, "Nothing on the shelf is for these boxes.");
    EXPECT_FALSE(a.verdict_matters);
    list.unsettled.add({"plate-unknown", Verdict::cant_say, "no family has it", "plate", "typed"});
    a = shelf_list(list);
    EXPECT_NE(a.headline.find("can't be told"), std::string::npos);
    EXPECT_TRUE(a.verdict_matters);  // not knowing is no all clear
    EXPECT_TRUE(a.data.at("releases").as_array().empty());
}

TEST(ShowShelf, AListNamesTheNewestOrSaysThatItIsNotKnown) {
    workshop::ShelfList list;
    list.families.push_back({"dunnock", {outline("27.3.118"), outline("27.10.2")}, "27.10.2", {}});
    list.families.push_back({"odd", {outline("x")}, "", {}});
    const Answer a = shelf_list(list);
    EXPECT_EQ(a.headline, "3 releases on the shelf.");
    const std::string text = a.text.text(shown);
    EXPECT_NE(text.find("newest known to this shelf: 27.10.2, as of "), std::string::npos) << text;
    EXPECT_NE(text.find("which is the newest can't be told"), std::string::npos);
    EXPECT_TRUE(a.data.at("newest_known").as_array().at(1).at("release").is_null());
}

TEST(ShowShelf, ARefusalIsBadInputWithEveryFinding) {
    workshop::Shelving s;
    s.package = "p";
    s.family = "dunnock";
    s.vetting.judgement.add({"piece-differs", Verdict::halt, "its digest differs", "main/kernel.bin", "index"});
    s.vetting.judgement.add({"origin-not-proven", Verdict::mind, "no signature", "package", "index"});
    s.refused = Error{};
    const Answer a = shelved(s);
    EXPECT_TRUE(a.bad_input);
    EXPECT_EQ(a.headline, "p is not shelved, 1 finding against it; nothing was kept.");
    EXPECT_EQ(a.judgement.reasons.size(), 2u);
    EXPECT_FALSE(a.data.at("shelved").as_bool());
}

TEST(ShowShelf, RemovingProposesToTidy) {
    EXPECT_EQ(removed({"dunnock", "27.3.118"}).text.text(shown), "  <tidy-shelf> gives its space back\n");
}

TEST(ShowShelf, FilesThatNoDigestComparesAreNotCalledEqual) {
    shelf::Compared c;
    c.files.push_back({shelf::Difference::unknown, "main", "kernel", "k", "k", 5, 5});
    c.files.push_back({shelf::Difference::equal, "main", "fonts", "f", "f", 7, 7});
    const Answer a = compared(c, {"1", "2", ""}, false);
    EXPECT_TRUE(a.verdict_matters);
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(a.data.at("files").as_array().size(), 1u);
    EXPECT_EQ(compared(c, {"1", "2", ""}, true).data.at("files").as_array().size(), 2u);
}

}  // namespace
}  // namespace fettle::show
