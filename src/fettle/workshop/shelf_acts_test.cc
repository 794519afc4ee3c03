#include "fettle/workshop/shelf_acts.h"

#include "fettle/shelf/shelf_test_help.h"
#include "fettle/workshop/shelf_care.h"
#include "fettle/workshop/test_workshop.h"

namespace fettle::workshop {
namespace {

ShelveRequest request_for(const std::filesystem::path& package) {
    ShelveRequest r;
    r.package = package.string();
    r.from = "the maker's portal";
    r.right = "maker-portal";
    return r;
}

TEST(ShelfActs, ALookMakesNoShelf) {
    const TestWorkshop w;
    const auto list = list_shelf(w.shop, {});
    ASSERT_TRUE(list);
    EXPECT_TRUE(list->families.empty());
    EXPECT_FALSE(list->narrowed);
    const auto shown = show_release(w.shop, {"27.3.118", ""});
    ASSERT_FALSE(shown);
    EXPECT_EQ(shown.error().code, "release-not-shelved");
    ASSERT_NE(shown.error().next.proposal(), nullptr);
    EXPECT_EQ(shown.error().next.proposal()->act, Act::add_to_shelf);
    EXPECT_FALSE(std::filesystem::exists(w.shop.home));
}

TEST(ShelfActs, APackageIsShelvedListedShownAndRemoved) {
    const TestWorkshop w;
    for (const char* name : {"27.3.118", "27.10.2"}) {
        shelf::Made made;
        made.release = name;
        const auto shelving = shelve(w.shop, request_for(made.folder(w.folder / name)));
        ASSERT_TRUE(shelving) << shelving.error().message();
        ASSERT_TRUE(shelving->release);
        EXPECT_EQ(shelving->family, "dunnock");  // told by the package alone
        EXPECT_EQ(shelving->release->release.release, name);
    }
    const auto list = list_shelf(w.shop, {});
    ASSERT_TRUE(list);
    ASSERT_EQ(list->families.size(), 1u);
    EXPECT_EQ(list->families[0].releases.size(), 2u);
    EXPECT_EQ(list->families[0].newest, "27.10.2");  // by numbers, not letter by letter
    EXPECT_EQ(list->families[0].as_of.newest, w.clock.at);

    const auto shown = show_release(w.shop, {"27.3.118", ""});
    ASSERT_TRUE(shown);
    EXPECT_EQ(shown->shelved.release.pieces.size(), 2u);
    EXPECT_EQ(shown->outline.pieces, 2u);

    const auto again = shelve(w.shop, request_for(w.folder / "27.3.118"));
    ASSERT_TRUE(again);
    EXPECT_TRUE(again->was_there);

    const auto removed = remove_release(w.shop, {"27.3.118", ""});
    ASSERT_TRUE(removed);
    EXPECT_EQ(removed->family, "dunnock");
    EXPECT_FALSE(show_release(w.shop, {"27.3.118", ""}));
    EXPECT_TRUE(show_release(w.shop, {"27.10.2", ""}));
}

TEST(ShelfActs, OfARefusedPackageNothingStaysButTheRefusal) {
    const TestWorkshop w;
    // A shelf made for a refused package alone goes again with all that is in it: so there is one already.
    shelf::Made first;
    first.release = "27.10.2";
    ASSERT_TRUE(shelve(w.shop, request_for(first.folder(w.folder / "first"))));
    shelf::Made made;
    const auto folder = made.folder(w.folder / "package");
    shelf::write(folder / "main/kernel.bin", "kernel bytez");  // another byte than the signed index says
    const auto shelving = shelve(w.shop, request_for(folder));
    ASSERT_TRUE(shelving);
    EXPECT_FALSE(shelving->release);
    ASSERT_TRUE(shelving->refused);
    EXPECT_EQ(shelving->refused->code, "package-refused");
    EXPECT_EQ(shelving->vetting.judgement.verdict(), Verdict::halt);

    const auto list = list_shelf(w.shop, {});
    ASSERT_TRUE(list);
    ASSERT_EQ(list->families.size(), 1u);
    EXPECT_FALSE(show_release(w.shop, {"27.3.118", ""}));
    ShelfListRequest ask;
    ask.refused = true;
    const auto refused = list_shelf(w.shop, ask);
    ASSERT_TRUE(refused) << refused.error().message();
    ASSERT_TRUE(refused->refused);
    ASSERT_EQ(refused->refused->size(), 1u);
    EXPECT_EQ(refused->refused->front().source_path, folder.string());
}

TEST(ShelfActs, WhatIsWrongWithTheRequestIsSaidBeforeAnythingIsMade) {
    const TestWorkshop w;
    auto request = request_for(shelf::Made().folder(w.folder / "package"));
    request.right = "found it";
    EXPECT_FALSE(shelve(w.shop, request));
    EXPECT_FALSE(std::filesystem::exists(w.shop.home));
}

TEST(ShelfActs, OnlyWhatIsForTheBoxesIsListed) {
    const TestWorkshop w;
    ASSERT_TRUE(shelve(w.shop, request_for(shelf::Made().folder(w.folder / "package"))));
    ShelfListRequest ask;
    ask.fits = {"no plate at all"};
    const auto list = list_shelf(w.shop, ask);
    ASSERT_TRUE(list);
    EXPECT_TRUE(list->narrowed);
    EXPECT_TRUE(list->families.empty());
    EXPECT_FALSE(list->unsettled.reasons.empty());  // never: these boxes have nothing
}

TEST(ShelfCare, GivesBackWhatItTookIn) {
    const TestWorkshop w;
    const auto folder = shelf::Made().folder(w.folder / "package");
    ASSERT_TRUE(shelve(w.shop, request_for(folder)));
    const auto verified = verify_shelf(w.shop, {});
    ASSERT_TRUE(verified);
    EXPECT_EQ(verified->files, 4u);
    EXPECT_TRUE(verified->damage.empty());
    const auto restored = restore_release(w.shop, {"27.3.118", (w.folder / "back").string(), ""});
    ASSERT_TRUE(restored) << restored.error().message();
    EXPECT_EQ(restored->files, 4u);
    std::ifstream back(w.folder / "back/main/kernel.bin", std::ios::binary);
    EXPECT_EQ(std::string(std::istreambuf_iterator<char>(back), {}), "kernel bytes");
    const auto compared = compare_releases(w.shop, {"27.3.118", "27.3.118", ""});
    ASSERT_TRUE(compared);
    for (const auto& f : compared->files) EXPECT_EQ(f.difference, shelf::Difference::equal);
    EXPECT_TRUE(tidy_shelf(w.shop));
}

}  // namespace
}  // namespace fettle::workshop
