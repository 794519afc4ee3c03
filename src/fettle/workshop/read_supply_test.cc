#include "fettle/workshop/read_supply.h"

#include <gtest/gtest.h>

#include "fettle/base/files.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class ReadSupply : public ::testing::Test {
protected:
    Result<SupplyRead> read(const std::string& lines) {
        const auto file = t_.folder / "trace.csv";
        must(write_file_durably(file, "time,volts,amps\n" + lines));
        return read_supply(t_.shop, {t_.number, file.string()});
    }
    using Kept = std::vector<std::pair<std::string, std::string>>;
    TestJob t_;
};

TEST_F(ReadSupply, OfASeriesTheLowestVoltageAndTheGreatestCurrentCount) {
    const SupplyRead r = must(read("1,13.4,2\n2,13.25,3.25\n3,13.3,2\n"));
    EXPECT_EQ(r.kept, (Kept{{"supply.measured_v", "13.25"}}));
    EXPECT_EQ(r.measured_A, 3.25);
    EXPECT_EQ(r.readings, 3u);
    EXPECT_EQ(r.judgement.verdict(), Verdict::fit);
    const book::Job job = t_.job();
    EXPECT_EQ(job.answers.at("supply.measured_v"), "13.25");
    EXPECT_TRUE(job.answers_read.contains("supply.measured_v"));  // an instrument's word, and it grows old
}

TEST_F(ReadSupply, ALineThatIsNoneIsNamedAndLeftOut) {
    const SupplyRead r = must(read("1,13.4,2\nhello\n2,13.1,2\n"));
    EXPECT_EQ(r.readings, 2u);
    ASSERT_EQ(r.judgement.reasons.size(), 1u);
    EXPECT_EQ(r.judgement.reasons[0].code, "supply-line-left-out");
    EXPECT_NE(r.judgement.reasons[0].text.find("line 3"), std::string::npos) << r.judgement.reasons[0].text;
}

// 61 V is beyond what any supply of this work gives: named, not kept, and no figure is better than a wrong one.
TEST_F(ReadSupply, AFigureThatCannotBeTrueIsNotKept) {
    const SupplyRead r = must(read("1,61,2\n"));
    EXPECT_TRUE(r.kept.empty());
    EXPECT_EQ(r.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(r.judgement.reasons.front().code, "supply-figure-unfit");
    EXPECT_EQ(r.judgement.reasons.back().code, "supply-gave-nothing");
    EXPECT_TRUE(t_.job().answers.empty());
}

TEST_F(ReadSupply, AFileOfOtherThingsGivesNoFigureAndOneReason) {
    std::string lines;
    for (int i = 0; i < 100; ++i) lines += "hello\n";
    const SupplyRead r = must(read(lines));
    EXPECT_TRUE(r.kept.empty());
    EXPECT_EQ(r.judgement.verdict(), Verdict::cant_say);
    ASSERT_EQ(r.judgement.reasons.size(), 2u);
    EXPECT_EQ(r.judgement.reasons[0].code, "supply-line-left-out");
    EXPECT_EQ(r.judgement.reasons[1].code, "supply-gave-nothing");
}

TEST_F(ReadSupply, ASourceThatIsNotThereKeepsNothing) {
    const auto none = read_supply(t_.shop, {t_.number, (t_.folder / "none.csv").string()});
    ASSERT_FALSE(none);
    EXPECT_EQ(none.error().code, "samples-not-readable");
    EXPECT_EQ(t_.entries_of("answered"), 0u);
}

}  // namespace
}  // namespace fettle::workshop
