#include "fettle/show/rehearsal.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"
#include "fettle/workshop/keep_thing.h"
#include "fettle/workshop/start_run.h"

namespace fettle::show {
namespace {

std::string by_name(const Proposal& act) {
    std::string out(name_of(act.act));
    for (const Argument& a : act.arguments) out += " " + a.name + (a.value.empty() ? "" : "=" + a.value);
    return out;
}
bool has(const std::string& page, const std::string& words) {
    return page.find(words) != std::string::npos;
}

rehearse::Cut cut() {
    rehearse::Cut c;
    c.release = "27.3.118";
    c.act = "boot";
    c.at_s = 150.9;
    c.map_said = {cutmap::Outcome::same_card, cutmap::Outcome::bench_repair};
    c.story = "The loader is half written.";
    c.came = standin::Fate::same_card;
    return c;
}

TEST(ShowRehearsal, AnActIsShownAsItIsAloneAndABoxThatIsGoneSaysWhy) {
    const workshop::ReturnedThing back{"0001X", "keeping-1", "map card", "bench 1"};
    EXPECT_EQ(done(&back, by_name).headline, "map card is back with the owner.");
    const workshop::Started begun{"0001X", "L1", true, {}};
    EXPECT_EQ(done(&begun, by_name).headline, "The run has begun.");
    const Error error{ErrorKind::outside, "link-silent", "doip://127.0.0.1", "nobody answers", "look"};
    EXPECT_TRUE(has(done(rehearse::NoAnswer{&error}, by_name).headline, "doip://127.0.0.1: nobody answers"));
}

TEST(ShowRehearsal, ACutSaysWhatTheMapHadSaidBesideWhatCame) {
    const rehearse::Cut c = cut();
    const std::string page = told(rehearse::PowerWent{c});
    EXPECT_TRUE(has(page, "Power cut at 2:30 of the step, in \"boot\""));
    for (const cutmap::Outcome o : c.map_said) EXPECT_TRUE(has(page, std::string(cutmap::words(o))));
    EXPECT_TRUE(has(page, "The loader is half written."));
}

TEST(ShowRehearsal, SignsAreCounted) {
    EXPECT_TRUE(has(told(rehearse::TakesUp{1, "27.3.118", 1}), "1 sign stands in"));
    EXPECT_TRUE(has(told(rehearse::TakesUp{1, "27.3.118", 3}), "3 signs stand in"));
}

TEST(ShowRehearsal, TheAnswerCarriesTheCutOnlyWhenThereWasOne) {
    rehearse::Rehearsed r;
    r.from = "27.1.110";
    r.to = "27.3.118";
    r.folder = "/tmp/r";
    r.job = "0001X";
    r.proof.proof.sentence = "Proved.";
    r.files = {"card-27.3.118.img"};
    Answer a = rehearsed(r);
    EXPECT_FALSE(a.data.contains("cut"));
    EXPECT_TRUE(has(a.text.text(by_name), "show-job job=0001X home=/tmp/r/home entries"));
    EXPECT_TRUE(has(a.text.text(by_name), "card-27.3.118.img"));
    r.cut = cut();
    a = rehearsed(r);
    const json::object& data = a.data.at("cut").as_object();
    EXPECT_EQ(data.at("came").as_string(), std::string(cutmap::code(cutmap::Outcome::same_card)));
    EXPECT_TRUE(data.at("agree").as_bool());
    EXPECT_FALSE(data.contains("mend_first"));
    r.mended_first = "same card";
    EXPECT_EQ(rehearsed(r).data.at("cut").as_object().at("mend_first").as_string(), "same card");
}

}  // namespace
}  // namespace fettle::show
