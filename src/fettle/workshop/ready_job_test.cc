#include "fettle/workshop/ready_job.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class ReadyJob : public ::testing::Test {
protected:
    ReadyChecked checked() { return must(check_ready(t_.shop, {t_.number})); }
    const Reason& reason(const ReadyChecked& c, std::string_view code) {
        for (const Reason& r : c.check.judgement.reasons)
            if (r.code == code) return r;
        throw std::runtime_error("no reason " + std::string(code));
    }
    void say(std::vector<std::string> answers) { must(answer(t_.shop, {t_.number, std::move(answers)})); }
    Result<Accepted> sign(const std::string& code) {
        return accept(t_.shop, {t_.number, code, "R. Moor", "seen to it"});
    }
    TestJob t_;
};

TEST_F(ReadyJob, TheVerdictIsKeptWithTheStepThatItIsOf) {
    const ReadyChecked c = checked();
    EXPECT_EQ(c.step, 1);
    EXPECT_TRUE(c.planned);
    EXPECT_EQ(c.release, "27.3.118");
    EXPECT_FALSE(c.may.yes);
    ASSERT_EQ(t_.entries_of("ready"), 1u);
    const book::Entry kept = must(read_job(t_.shop, t_.number)).entries.back();
    const json::object data = must(parse_json(kept.data, "entry")).get_object();
    EXPECT_EQ(text_of(data, "verdict"), code(c.check.judgement.verdict()));
    EXPECT_EQ(number_of(data, "step"), 1);
}

TEST_F(ReadyJob, EveryActThatSettlesSomethingNamesTheJob) {
    const ReadyChecked c = checked();
    int acts = 0;
    for (const ready::Item& i : c.check.items) {
        for (const Next::Part& p : i.reason.next.parts()) {
            const auto* act = std::get_if<Proposal>(&p);
            if (!act) continue;
            ++acts;
            const auto named = std::find(act->arguments.begin(), act->arguments.end(), job(t_.number));
            EXPECT_NE(named, act->arguments.end()) << name_of(act->act);
        }
    }
    EXPECT_GE(acts, 3);  // the card laid or audited, the test call
    EXPECT_EQ(reason(c, "card-not-known").next, c.check.items[1].reason.next);
}

TEST_F(ReadyJob, AStepThatThePlanHasNotIsNoStep) {
    const auto c = check_ready(t_.shop, {t_.number, 2});
    ASSERT_FALSE(c);
    EXPECT_EQ(c.error().code, "step-not-planned");
    EXPECT_EQ(t_.entries_of("ready"), 0u);
}

// Nothing is known of these boxes: what can be asked for is, and it is said that no plan looked at it.
TEST(ReadyJobAlone, BoxesOfNoKnownFamilyAreCheckedWithoutAPlan) {
    const TestWorkshop w;
    auto book = must(open_book(w.shop));
    const std::string number = must(book.open_job(R"({"customer":"1007","place":"vehicle"})", w.clock.at));
    const ReadyChecked c = must(check_ready(w.shop, {number}));
    EXPECT_FALSE(c.planned);
    EXPECT_EQ(c.step, 0);
    EXPECT_EQ(c.level, "L0");
    EXPECT_EQ(c.check.judgement.verdict(), Verdict::cant_say);
    EXPECT_NE(std::find(c.check.wanted.begin(), c.check.wanted.end(), "engine"), c.check.wanted.end());
    EXPECT_TRUE(answer(w.shop, {number, {"engine=off"}}));
    EXPECT_FALSE(answer(w.shop, {number, {"asks=answers"}}));  // no script has an ask of this name
}

TEST_F(ReadyJob, OneWrongAnswerAndNoneIsKept) {
    const auto wrong = answer(t_.shop, {t_.number, {"slots=empty", "supply.volts=1000"}});
    ASSERT_FALSE(wrong);
    EXPECT_EQ(wrong.error().code, "answer-value-wrong");
    const auto no_value = answer(t_.shop, {t_.number, {"slots=empty", "knob"}});
    ASSERT_FALSE(no_value);
    EXPECT_EQ(no_value.error().code, "answer-not-key-value");
    EXPECT_EQ(answer(t_.shop, {t_.number, {}}).error().code, "answer-missing");
    EXPECT_TRUE(t_.job().answers.empty());
    const Answered kept = must(answer(t_.shop, {t_.number, {"slots=empty", "supply.volts=13.5"}}));
    EXPECT_EQ(kept.kept.size(), 2u);
    EXPECT_EQ(t_.job().answers.at("supply.volts"), "13.5");
    EXPECT_TRUE(t_.job().answers_read.empty());  // typed, and no instrument's word
}

TEST_F(ReadyJob, ASignatureCoversOneReasonUntilARunBegins) {
    say({"slots=empty", "knob=answers", "person=yes", "holds=yes"});
    const ReadyChecked before = checked();
    const Reason open = reason(before, "card-not-known");
    const Accepted a = must(sign("card-not-known"));  // the bare code, while it is the only one
    EXPECT_EQ(a.signature.code, ready::acceptance_key(open));
    EXPECT_EQ(a.signature.verdict, Verdict::cant_say);
    const auto stands = [&](const ReadyChecked& c) {
        return std::any_of(c.may.standing.begin(), c.may.standing.end(),
                           [](const Reason& r) { return r.code == "card-not-known"; });
    };
    const ReadyChecked after = checked();
    EXPECT_FALSE(stands(after));
    EXPECT_EQ(after.check.judgement.verdict(), before.check.judgement.verdict());  // it stays what was found
    EXPECT_EQ(after.may.standing.size() + 1, before.may.standing.size());
    ASSERT_EQ(after.signed_for.size(), 1u);
    EXPECT_EQ(after.signed_for[0].by, "R. Moor");
    t_.clock.at += 60'000;
    t_.run("broken off");
    EXPECT_TRUE(stands(checked()));
}

TEST_F(ReadyJob, NoSignatureUnderAHaltNorUnderNothing) {
    say({"knob=dead"});
    const auto halt = sign("ask-control-dead");
    ASSERT_FALSE(halt);
    EXPECT_EQ(halt.error().code, "halt-not-acceptable");
    EXPECT_EQ(sign("nothing-of-this-name").error().code, "acceptance-names-nothing");
    const auto without_name = accept(t_.shop, {t_.number, "card-not-known", " ", "seen to it"});
    ASSERT_FALSE(without_name);
    EXPECT_EQ(without_name.error().code, "signature-incomplete");
    const Proposal* again = without_name.error().next.proposal();
    ASSERT_NE(again, nullptr);
    EXPECT_EQ(again->act, Act::accept);
    EXPECT_EQ(again->arguments.front(), job(t_.number));
    EXPECT_EQ(t_.entries_of("accepted"), 0u);
}

}  // namespace
}  // namespace fettle::workshop
