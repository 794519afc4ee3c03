#include "fettle/workshop/lay_card.h"

#include "fettle/shelf/shelf_test_help.h"
#include "fettle/workshop/audit_card.h"
#include "fettle/workshop/shelf_acts.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/test_workshop.h"

namespace fettle::workshop {
namespace {

namespace fs = std::filesystem;

class Cards : public ::testing::Test {
protected:
    void shelve_one(const std::string& right = "own-work") {
        ShelveRequest r;
        r.package = shelf::Made().folder(w_.folder / "package").string();
        r.from = "made for this test";
        r.right = right;
        const auto shelving = shelve(w_.shop, r);
        ASSERT_TRUE(shelving && shelving->release);
    }
    LayRequest to_image() const {
        LayRequest r;
        r.what.release = "27.3.118";
        r.out = (w_.folder / "card.img").string();
        return r;
    }
    TestWorkshop w_;
};

TEST_F(Cards, ALaidImagePassesItsAudit) {
    shelve_one();
    const auto laid = lay_card(w_.shop, to_image());
    ASSERT_TRUE(laid) << laid.error().message();
    EXPECT_EQ(laid->family.id, "dunnock");
    EXPECT_EQ(laid->laid.files.size(), 4u);
    EXPECT_FALSE(laid->erased);
    EXPECT_EQ(laid->judgement.reasons.front().code, "card-laid");

    AuditRequest ask;
    ask.card = to_image().out;
    const auto by_index = audit_card(w_.shop, ask);
    ASSERT_TRUE(by_index) << by_index.error().message();
    ASSERT_TRUE(by_index->family);
    EXPECT_EQ(by_index->family->id, "dunnock");
    EXPECT_EQ(by_index->audit.release, "27.3.118");
    EXPECT_EQ(by_index->judgement.verdict(), Verdict::fit);
    EXPECT_FALSE(by_index->wanted_release);

    ask.release = "27.3.118";
    const auto held_against = audit_card(w_.shop, ask);
    ASSERT_TRUE(held_against);
    EXPECT_EQ(held_against->audit.files_matched, held_against->audit.files_wanted);

    const auto second = lay_card(w_.shop, to_image());
    ASSERT_FALSE(second);  // never over what is there
    EXPECT_EQ(second.error().code, "image-exists");
}

TEST_F(Cards, ForAJobOnlyWhatMayBeUsedAndOnlyAJobThatIsThere) {
    shelve_one("unknown");
    auto request = to_image();
    request.job = "1007-3";
    EXPECT_FALSE(lay_card(w_.shop, request));
    EXPECT_FALSE(fs::exists(request.out));
    const auto book = open_book(w_.shop);
    ASSERT_TRUE(book);
}

TEST_F(Cards, AnImageHasNoSerialAndAFolderIsNoJobs) {
    auto request = to_image();
    request.consent.serial = "4C53";
    EXPECT_EQ(lay_card(w_.shop, request).error().code, "erase-not-asked");
    EXPECT_EQ(release_to_lay(w_.shop, {"./package", "", 0}, true).error().code, "folder-for-job");
}

TEST_F(Cards, AFolderIsLaidByItsIndexAndSaidNotToBeVetted) {
    const auto folder = shelf::Made().folder(w_.folder / "package").string();
    const auto release = release_to_lay(w_.shop, {folder, "", 0}, false);
    ASSERT_TRUE(release) << release.error().message();
    EXPECT_EQ(release->family.id, "dunnock");
    EXPECT_EQ(release->release.release, "27.3.118");
    ASSERT_EQ(release->remarks.reasons.size(), 1u);
    EXPECT_EQ(release->remarks.reasons[0].code, "folder-not-vetted");

    shelf::write(fs::path(folder) / "stray.bin", "what is this?");
    const auto stray = release_to_lay(w_.shop, {folder, "", 0}, false);
    ASSERT_FALSE(stray);
    EXPECT_EQ(stray.error().code, "folder-not-as-index");
    EXPECT_EQ(stray.error().place, "stray.bin");
}

TEST_F(Cards, AFolderOfNobodysIsTakenAsItIs) {
    shelf::write(w_.folder / "loose/a.bin", "abc");
    const auto folder = (w_.folder / "loose").string();
    const auto release = release_to_lay(w_.shop, {folder, "", 0}, false);
    ASSERT_TRUE(release) << release.error().message();
    EXPECT_TRUE(release->careful);
    EXPECT_TRUE(release->family.id.empty());
    EXPECT_EQ(release->remarks.reasons[0].code, "folder-unknown");
    // SHA-256 of "abc": FIPS 180-4, example of one block.
    const auto against = folder_to_audit(w_.shop, "", folder);
    ASSERT_TRUE(against);
    ASSERT_EQ(against->release.pieces.size(), 1u);
    EXPECT_EQ(against->release.pieces[0].files[0].digests.at("sha256"),
              "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    EXPECT_FALSE(against->family.card);
}

TEST(Erasing, TakesTheWholeSerialOrItsEndFromAPerson) {
    EraseQuestion q;
    q.device.path = "/dev/sdz";
    q.device.serial = "0x4c53ab90";
    q.on_it = {"nothing"};
    EXPECT_EQ(agree_to_erase(q, {}).error().code, "erase-not-agreed");
    EXPECT_TRUE(agree_to_erase(q, {"0x4c53ab90", {}}));
    EXPECT_EQ(agree_to_erase(q, {"ab90", {}}).error().code, "erase-serial-differs");
    const auto typing = [&](const char* typed) {
        return EraseConsent{"", [typed](const EraseQuestion&) { return std::string(typed); }};
    };
    EXPECT_TRUE(agree_to_erase(q, typing("AB90")));
    EXPECT_EQ(agree_to_erase(q, typing("b90")).error().code, "erase-serial-differs");
    EXPECT_EQ(agree_to_erase(q, typing("")).error().code, "erase-not-agreed");
    EXPECT_STREQ(q.to_type(), "serial number");
}

TEST(Devices, WhatIsNoneIsSaid) {
    const auto none = device_named("/nowhere/at-all");
    ASSERT_FALSE(none);
    EXPECT_EQ(none.error().code, "device-not-known");
    ASSERT_NE(none.error().next.proposal(), nullptr);
    EXPECT_EQ(none.error().next.proposal()->act, Act::list_devices);
    EXPECT_FALSE(is_block_device("/dev/null"));
}

}  // namespace
}  // namespace fettle::workshop
