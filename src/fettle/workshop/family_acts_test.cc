#include "fettle/workshop/family_acts.h"

#include <fstream>

#include "fettle/base/files.h"
#include "fettle/workshop/draft_family.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/family_travel.h"
#include "fettle/workshop/learn_family.h"
#include "fettle/workshop/test_workshop.h"

namespace fettle::workshop {
namespace {

namespace fs = std::filesystem;

std::string example() {
    return family_file_text(source_path("families/dunnock.toml")).value();
}

std::string without_section(std::string text, const std::string& head) {
    const auto at = text.find(head);
    EXPECT_NE(at, std::string::npos) << head;
    const auto end = text.find("\n[", at + 1);
    return text.erase(at, end == std::string::npos ? std::string::npos : end + 1 - at);
}

std::string write(const fs::path& file, const std::string& text) {
    std::ofstream(file, std::ios::binary) << text;
    return file.string();
}

TEST(FamilyActs, AFileIsCheckedWithoutAWorkshop) {
    const auto good = check_family(source_path("families/dunnock.toml"));
    ASSERT_TRUE(good);
    EXPECT_TRUE(good->loaded.mistakes.empty());
    EXPECT_EQ(good->loaded.family.id, "dunnock");
    const TestWorkshop w;
    const auto bad = check_family(write(w.folder / "bad.toml", "id = 7\n"));
    ASSERT_TRUE(bad);
    EXPECT_FALSE(bad->loaded.mistakes.empty());
    EXPECT_FALSE(check_family((w.folder / "not-there.toml").string()));
}

TEST(FamilyActs, WhatLoosensIsAddedOnlyInSomebodysName) {
    const TestWorkshop w;
    const std::string file = write(w.folder / "looser.toml", without_section(example(), "[[hold]]"));
    const auto refused = add_family(w.shop, {file, "  "});
    ASSERT_TRUE(refused) << refused.error().message();
    EXPECT_TRUE(refused->in_use.empty());
    EXPECT_GT(refused->loosened, 0u);
    EXPECT_EQ(refused->judgement.verdict(), Verdict::halt);
    EXPECT_FALSE(fs::exists(w.shop.families_folder()));

    const auto added = add_family(w.shop, {file, "Ida"});
    ASSERT_TRUE(added);
    EXPECT_TRUE(added->was_known);
    EXPECT_EQ(added->judgement.verdict(), Verdict::mind);
    EXPECT_EQ(load_family_by_id(w.shop, "dunnock")->digest, added->offered.digest);
    const auto kept = read_text_file(w.shop.families_folder() / "dunnock.accepted.jsonl");
    ASSERT_TRUE(kept);
    EXPECT_NE(kept->find("\"by\":\"Ida\""), std::string::npos);
}

TEST(FamilyActs, ASignedFileIsKnownElsewhereAndAChangedOneIsNotTaken) {
    const TestWorkshop maker, taker;
    const std::string file = write(maker.folder / "dunnock.toml", example());
    EXPECT_EQ(sign_family(maker.shop, {file, " "}).error().code, "sign-without-name");
    const auto done = sign_family(maker.shop, {file, "Ida"});
    ASSERT_TRUE(done) << done.error().message();
    EXPECT_TRUE(done->is_signed());
    EXPECT_TRUE(done->key_made_now);

    ImportFamilyRequest ask;
    ask.file = file;
    const auto taken = import_family(taker.shop, ask);
    ASSERT_TRUE(taken);
    EXPECT_EQ(taken->signer.state, family::Signed::good);
    EXPECT_EQ(taken->signer.public_key, done->public_key);
    EXPECT_TRUE(taken->was_known);  // as an example
    EXPECT_TRUE(taken->differences.empty());
    EXPECT_FALSE(taken->written);

    std::string changed = family_file_text(file).value();
    changed.insert(0, "# another line\n");
    ask.file = write(maker.folder / "changed.toml", changed);
    const auto refused = import_family(taker.shop, ask);
    ASSERT_TRUE(refused);
    EXPECT_EQ(refused->judgement.verdict(), Verdict::halt);
    EXPECT_FALSE(refused->written);
    EXPECT_FALSE(fs::exists(taker.shop.families_folder()));
}

TEST(FamilyActs, FromElsewhereWhatLoosensIsAsked) {
    const TestWorkshop w;
    ImportFamilyRequest ask;
    ask.file = write(w.folder / "looser.toml", without_section(example(), "[[hold]]"));
    const auto asked = import_family(w.shop, ask);
    ASSERT_TRUE(asked) << asked.error().message();
    EXPECT_FALSE(asked->written);
    ASSERT_FALSE(asked->differences.empty());
    ask.accept = {"all"};
    EXPECT_EQ(import_family(w.shop, ask).error().code, "accept-without-name");
    ask.accept_loosening_by = "Ida";
    const auto taken = import_family(w.shop, ask);
    ASSERT_TRUE(taken) << taken.error().message();
    EXPECT_TRUE(taken->written);
    const auto kept = read_text_file(w.shop.families_folder() / "dunnock.accepted.jsonl");
    ASSERT_TRUE(kept);
    EXPECT_NE(kept->find("\"signed_with\":\"\""), std::string::npos);
}

TEST(FamilyActs, ADraftIsTakenIntoUseOnceAndProposesWhatComesNext) {
    const TestWorkshop w;
    fs::create_directories(w.folder / "wren-1.0");
    write(w.folder / "wren-1.0/blob.bin", std::string(4096, 'w'));
    DraftRequest ask;
    ask.packages = {(w.folder / "wren-1.0").string()};
    ask.plates = {"WR-1002-B"};
    ask.id = "wren";
    ask.add = true;
    const auto drafted = draft_family(w.shop, ask);
    ASSERT_TRUE(drafted) << drafted.error().message();
    EXPECT_EQ(drafted->in_use, w.shop.families_folder() / "wren.toml");
    EXPECT_TRUE(load_family_by_id(w.shop, "wren"));
    // A package without an index that could be understood goes onto a card as it is.
    EXPECT_EQ(drafted->draft.level, "L0");
    ASSERT_NE(drafted->next.proposal(), nullptr);
    EXPECT_EQ(*drafted->next.proposal(), propose(Act::lay_card, {given("release", ask.packages[0]),
                                                                 given("family", "wren"), given("out", "card.img")}));
    EXPECT_EQ(draft_family(w.shop, ask).error().code, "draft-known");
    ask.id = "Wren";
    EXPECT_EQ(draft_family(w.shop, ask).error().code, "draft-id");
}

TEST(FamilyActs, NothingIsLearntIntoAFileInUseOrWithoutAJob) {
    const TestWorkshop w;
    fs::create_directories(w.shop.families_folder());
    LearnRequest ask;
    ask.file = write(w.shop.families_folder() / "dunnock.toml", example());
    EXPECT_EQ(learn_family(w.shop, ask).error().code, "job-missing");
    ask.job = "1007-3";
    const auto refused = learn_family(w.shop, ask);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, "file-in-use");
    EXPECT_EQ(refused.error().next.proposal()->act, Act::add_family);
}

TEST(NumbersOf, TakesNumbersRangesAndAll) {
    const auto read = [](const std::vector<std::string>& words) { return numbers_of(words, 5, "is none", "try"); };
    EXPECT_EQ(read({"3", "1"}).value(), (std::set<std::size_t>{1, 3}));
    EXPECT_EQ(read({"2-4"}).value(), (std::set<std::size_t>{2, 3, 4}));
    EXPECT_EQ(read({"all"}).value().size(), 5u);
    EXPECT_TRUE(numbers_of({"all"}, 0, "", "").value().empty());
    for (const char* word :
         {"0", "6", "4-2", "4-6", "-2", "2-", "-", "", "+1", "1 ", "two", "1-2-3", "99999999999999999999"})
        EXPECT_FALSE(read({word})) << word;
}

}  // namespace
}  // namespace fettle::workshop
