#include "fettle/shelf/release_json.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle::shelf {
namespace {

std::string text() {
    return *rc::gen::map(rc::gen::container<std::string>(rc::gen::inRange(' ', '~')),
                         [](std::string s) { return s + "\n\"ü"; });
}

RC_GTEST_PROP(ReleaseText, ComesBackAsItWas, ()) {
    family::Release r;
    r.family = text();
    r.release = text();
    r.markets = {text(), text()};
    r.installs_from = text();
    if (*rc::gen::arbitrary<bool>()) r.counter = *rc::gen::arbitrary<std::int64_t>();
    r.one_way_door = *rc::gen::arbitrary<bool>();
    r.cures = {text()};
    r.index_path = text();
    r.index_sha256 = text();
    for (int i = *rc::gen::inRange(0, 4); i > 0; --i) {
        family::Piece p{text(), text(), text(), text(), {}, {text()}};
        for (int k = *rc::gen::inRange(0, 3); k > 0; --k)
            p.files.push_back(
                {text(), *rc::gen::inRange<std::uint64_t>(0, UINT64_MAX), {{"sha256", text()}, {"md5", text()}}});
        r.pieces.push_back(std::move(p));
    }
    const Outline outline = outline_from(outline_text(r)).value();
    family::Release back = outline.release;
    back.pieces = pieces_from(pieces_text(r.pieces)).value();
    RC_ASSERT(outline.pieces == r.pieces.size() && outline.bytes == r.bytes());
    RC_ASSERT(back.family == r.family && back.release == r.release && back.markets == r.markets);
    RC_ASSERT(back.installs_from == r.installs_from && back.counter == r.counter && back.cures == r.cures);
    RC_ASSERT(back.one_way_door == r.one_way_door && back.index_path == r.index_path);
    RC_ASSERT(back.index_sha256 == r.index_sha256 && back.pieces.size() == r.pieces.size());
    for (std::size_t i = 0; i < r.pieces.size(); ++i) {
        const family::Piece &a = r.pieces[i], &b = back.pieces[i];
        RC_ASSERT(a.name == b.name && a.box == b.box && a.region == b.region && a.version == b.version);
        RC_ASSERT(a.issues == b.issues && a.files.size() == b.files.size());
        for (std::size_t k = 0; k < a.files.size(); ++k)
            RC_ASSERT(a.files[k].path == b.files[k].path && a.files[k].size == b.files[k].size &&
                      a.files[k].digests == b.files[k].digests);
    }
}

TEST(ReleaseText, DamageIsAnErrorAndNeverAGuess) {
    family::Release r;
    r.family = "dunnock";
    r.pieces.push_back({"n", "main", "kernel", "1", {{"p", 3, {{"sha256", "ab"}}}}, {}});
    const std::string good = outline_text(r), pieces = pieces_text(r.pieces);
    for (const char* bad : {"", "{}", "[]", "null", "{\"family\":1}"})
        EXPECT_EQ(outline_from(bad).error().code, "shelf-damaged") << bad;
    for (std::size_t cut = 1; cut < good.size(); ++cut) EXPECT_FALSE(outline_from(good.substr(0, cut)));
    for (std::size_t cut = 0; cut < pieces.size(); ++cut) EXPECT_FALSE(pieces_from(pieces.substr(0, cut)));
    for (int i = 0; i < 200; ++i) r.pieces.push_back(r.pieces.front());
    const std::string packed = pieces_text(r.pieces);
    EXPECT_EQ(pieces_from(packed)->size(), 201u);
    EXPECT_LT(packed.size(), 3000u);
    for (std::size_t cut = 0; cut < packed.size(); cut += 7) EXPECT_FALSE(pieces_from(packed.substr(0, cut)));
    EXPECT_FALSE(pieces_from("99999999999999999999 00"));
    EXPECT_FALSE(pieces_from("999999999 00"));
}

TEST(JudgementText, ComesBackAsItWas) {
    Judgement j;
    j.add({"a", Verdict::mind, "t \"ü\"", "w", "r"});
    j.add({"b", Verdict::cant_say, "", "", ""});
    const Judgement back = judgement_from(judgement_text(j)).value();
    EXPECT_EQ(back.reasons, j.reasons);
    EXPECT_FALSE(judgement_from("[{\"code\":\"a\",\"verdict\":9,\"text\":\"\",\"where\":\"\",\"rests_on\":\"\"}]"));
}

}  // namespace
}  // namespace fettle::shelf
