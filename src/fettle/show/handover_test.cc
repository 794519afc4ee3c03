#include "fettle/show/handover.h"

#include <gtest/gtest.h>

namespace fettle::show {
namespace {

const ShowAct none = [](const Proposal&) { return std::string(); };

workshop::SheetChecked checked(handover::Seal seal, const char* known_as = "") {
    workshop::SheetChecked c;
    c.checked.seal = seal;
    c.checked.fingerprint = "3F 0C";
    c.known_as = known_as;
    return c;
}

// Unchanged says nothing of who sealed it: a key that nobody here knows is said to be so.
TEST(ShowHandover, AnUnchangedSheetIsNamedWithItsKeyAndWhetherItIsKnown) {
    EXPECT_EQ(sheet_checked(checked(handover::Seal::unchanged)).headline,
              "Unchanged since sealed by key 3F 0C, which is not known here.");
    EXPECT_EQ(sheet_checked(checked(handover::Seal::unchanged, "shop")).headline,
              "Unchanged since sealed by key 3F 0C, known here as shop.");
}

TEST(ShowHandover, AChangedSheetAndOneWithoutSealAreNotNamedByAKey) {
    const Answer changed = sheet_checked(checked(handover::Seal::changed, "shop"));
    EXPECT_EQ(changed.headline, "Changed: this is not the sheet that was sealed.");
    EXPECT_EQ(changed.data.at("seal"), "changed");
    const Answer bare = sheet_checked(checked(handover::Seal::none, "shop"));
    EXPECT_EQ(bare.headline, "No seal: nothing can be said of this file.");
    EXPECT_EQ(bare.data.at("seal"), "none");
    for (const Answer& a : {changed, bare})
        EXPECT_NE(a.text.text(none).find("does not prove that what the sheet says is true"), std::string::npos);
}

TEST(ShowHandover, AKeyMadeNowIsToBeNotedDown) {
    workshop::HandedOver made;
    made.file = "sheet.html";
    EXPECT_EQ(handed_over(made).text.text(none).find("made just now"), std::string::npos);
    made.key_made_now = true;
    EXPECT_NE(handed_over(made).text.text(none).find("made just now"), std::string::npos);
}

}  // namespace
}  // namespace fettle::show
