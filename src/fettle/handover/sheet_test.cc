#include "fettle/handover/sheet.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <fstream>
#include <regex>

#include "fettle/base/source_path.h"
#include "fettle/base/text.h"
#include "fettle/handover/style.h"

namespace fettle::handover {
namespace {

SheetInput example() {
    SheetInput in;
    in.made = 1'800'003'600'000;
    in.workshop = "Saltmarsh Bench";
    in.journal_digest = std::string(64, '7');
    in.journal_entries = 31;
    book::Job& j = in.job;
    j.number = "07940";
    j.opened = 1'800'000'000'000;
    j.customer = "1007";
    j.vehicle = "Vellmoor estate";
    j.complaint = "Display stays dark after a short stop";
    j.plates = {{"main", "6104183C5"}, {"display", "6402207A4"}};
    j.family = "dunnock";
    j.release_found = "26.1.090";
    j.market = "NS";
    j.as_found_origin = Origin::inferred;
    j.target = "27.3.118";
    book::PlannedStep step;
    step.release = "27.3.118";
    step.landed = 18;
    step.passed_over = 2;
    step.total = 20;
    j.plan = {step};
    book::Run run;
    run.release = "27.3.118";
    run.started = 1'800'000'600'000;
    run.ended = 1'800'002'000'000;
    run.outcome = RunState::ended;
    run.tally = {{"landed", 18}, {"passed_over", 2}, {"refused", 0}};
    j.runs = {run};
    j.as_left_origin = Origin::typed;
    j.as_left_release = "27.3.118";
    j.proved = "proved";
    return in;
}

book::LooseEnd loose(const char* id, const char* words) {
    book::LooseEnd e;
    e.id = id;
    e.words = words;
    e.owner = "workshop";
    e.consequence = "the owner has no map";
    return e;
}

std::string html(const SheetInput& in) {
    auto r = sheet_html(in);
    EXPECT_TRUE(r) << r.error().message();
    return r.value_or("");
}

TEST(Sheet, OneSentenceOnTop) {
    SheetInput in = example();
    EXPECT_EQ(headline(in.job), "Updated from 26.1.090 to 27.3.118; everything landed; nothing is left to do.");
    in.job.loose_ends.push_back(loose("note-1", "try the map card at home"));
    in.job.loose_ends.back().blocks = false;
    EXPECT_EQ(headline(in.job), "Updated from 26.1.090 to 27.3.118; everything landed; 1 thing is left to do.");
    in.job.proved = "partly";
    EXPECT_NE(headline(in.job).find("is not proved"), std::string::npos);
    in.job.runs.clear();
    EXPECT_EQ(headline(in.job), "Nothing was installed; 1 thing is left to do.");
}

// Story 52: refused while the owner's card is neither back nor signed for; the signature is printed as an exception.
TEST(Sheet, IsRefusedUntilLooseEndsAreSettledOrSigned) {
    SheetInput in = example();
    in.job.loose_ends.push_back(loose("keeping-1", "map card back into its slot"));
    const auto refused = sheet_html(in);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, "loose-ends-open");
    EXPECT_NE(refused.error().problem.find("keeping-1 (map card back into its slot)"), std::string::npos);
    in.job.loose_ends[0].signed_for = true;
    in.job.loose_ends[0].signed_by = "R. Tern";
    in.job.loose_ends[0].signed_reason = "owner keeps it";
    const std::string page = html(in);
    EXPECT_NE(page.find("Left open and signed for by R. Tern: map card back into its slot. Reason: owner keeps it"),
              std::string::npos);
    in.job.loose_ends[0].settled = true;
    EXPECT_EQ(html(in).find("Exceptions"), std::string::npos);
}

// Story 53: what was not read is "not read", never "none".
TEST(Sheet, NotReadIsNeverNone) {
    const std::string page = html(example());
    EXPECT_NE(page.find("not read (that is not the same as none)"), std::string::npos);
    EXPECT_EQ(page.find("no entries"), std::string::npos);
    SheetInput in = example();
    in.job.faults_after.origin = Origin::typed;
    EXPECT_NE(html(in).find("no entries (typed)"), std::string::npos);
    in.job.faults_after.entries = {{"display", "B1A4F-13", 0x28}};
    EXPECT_NE(html(in).find("display B1A4F-13 (stored, failed since it was last cleared; status 28)"),
              std::string::npos);
}

// What the owner wants to see of the past, and what is the shop's own.
TEST(Sheet, TellsWhoWorkedWhatWasTriedAndWhatWentBack) {
    SheetInput in = example();
    book::Run broke = in.job.runs[0];
    broke.outcome = RunState::broken_off;
    broke.by = "R. Tern";
    broke.advice = "Put the same card in again.";
    book::Attempt again;
    again.kind = MendKind::same_card;
    again.came = Came::done;
    again.by = "M. Plover";
    broke.attempts = {again};
    in.job.runs.insert(in.job.runs.begin(), broke);
    in.job.keepings = {{"keeping-1", "owner's map card", "B2", "17", true}};
    in.job.notes = {"battery tired"};
    in.strips = {"<svg></svg>"};
    const std::string page = html(in);
    for (const char* part : {"Worked on it: R. Tern, M. Plover.", "tried: same card; what came of it: done (M. Plover)",
                             "Advised: Put the same card in again.", "owner&#39;s map card (tag 17): given back",
                             "Workshop: name, date, signature"})
        EXPECT_NE(page.find(part), std::string::npos) << part;
    EXPECT_EQ(page.find("battery tired"), std::string::npos);
    EXPECT_GT(page.find("<svg>"), page.find("Made from the"));  // the strips are last
    EXPECT_EQ(page.find("UTC"), std::string::npos);
    EXPECT_TRUE(std::regex_search(page, std::regex("taken in 20[0-9-]{8} [0-9:]{5} [+-][0-9]{2}:[0-9]{2}")));
}

// Story 54.
TEST(Sheet, InferredIsSaid) {
    const std::string page = html(example());
    EXPECT_NE(page.find("inferred from the release shown"), std::string::npos);
    EXPECT_NE(page.find("Planned counts are inferred"), std::string::npos);
}

TEST(Sheet, ARunAgainstAHaltIsAnException) {
    SheetInput in = example();
    in.job.runs[0].against_halt = true;
    EXPECT_NE(html(in).find("begun against a halt"), std::string::npos);
}

TEST(Sheet, ShowsNoVinWithoutConsent) {
    SheetInput in = example();
    in.job.vin = "11111111111111111";
    EXPECT_EQ(html(in).find(in.job.vin), std::string::npos);
    in.job.consents = {"name on the sheet"};
    EXPECT_NE(html(in).find(in.job.vin), std::string::npos);
}

// Every text of a job, filled with hostile ones: no tag, attribute or entity of theirs survives.
TEST(Sheet, HostileTextsStayText) {
    const std::string evil = "</section><script>alert(1)</script><img src=x onerror=y> \"'& \x01\xff";
    SheetInput in = example();
    book::Job& j = in.job;
    for (std::string* s : {&in.workshop, &j.number, &j.customer, &j.vehicle, &j.complaint, &j.family, &j.family_digest,
                           &j.release_found, &j.market, &j.as_left_release, &in.journal_digest})
        *s = evil;
    j.vin = evil;
    j.consents = {"name on the sheet"};
    j.plates = {{evil, evil}};
    j.notes = {evil};
    j.runs[0].release = evil;
    j.runs[0].by = evil;
    j.runs[0].against_halt = true;
    j.runs[0].marks = {{1, evil, 0, evil, false, {}, {}}};
    j.plan[0].release = evil;
    j.accepted = {{evil, evil, evil, Verdict::mind, 0}};
    j.proof = {{evil, Verdict::mind, evil, evil, evil}};
    j.loose_ends = {loose("x", "")};
    j.loose_ends[0].words = j.loose_ends[0].owner = j.loose_ends[0].consequence = evil;
    j.loose_ends[0].signed_for = true;
    j.loose_ends[0].signed_by = j.loose_ends[0].signed_reason = evil;
    j.corrections = {{1, 2, evil, evil, evil, evil, evil, 0}};
    in.cautions = {evil};
    const std::string page = html(in);
    for (const char* bad : {"<script", "<img", "onerror=y>", "\x01", "\xff"})
        EXPECT_EQ(page.find(bad), std::string::npos) << bad;
    // Tags are ours alone: every '<' opens a name of this list.
    static const std::regex tag(
        "<(/?)(!DOCTYPE|html|head|meta|title|style|body|header|p|span|h1|h2|section|div|table|tr|th|"
        "td|ul|li)[ >]");
    std::size_t angles = 0;
    for (char c : page) angles += c == '<';
    const auto tags = std::distance(std::sregex_iterator(page.begin(), page.end(), tag), std::sregex_iterator());
    EXPECT_EQ(angles, static_cast<std::size_t>(tags));
}

RC_GTEST_PROP(SheetProperty, EscapedTextHasNoMarkup, (const std::string& s)) {
    const std::string e = escape_markup(s);
    RC_ASSERT(e.find_first_of("<>\"'") == std::string::npos);
    RC_ASSERT(is_utf8(e));
}

TEST(Sheet, NeedsNothingFromOutside) {
    const std::string page = html(example());
    for (const char* bad : {"http", "src=", "href=", "@import", "url(", "<script", "<link"})
        EXPECT_EQ(page.find(bad), std::string::npos) << bad;
}

double linear(int c) {
    const double v = c / 255.0;
    return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
}
double luminance(int rgb) {
    return 0.2126 * linear(rgb >> 16 & 255) + 0.7152 * linear(rgb >> 8 & 255) + 0.0722 * linear(rgb & 255);
}
double contrast(int a, int b) {
    const double x = luminance(a), y = luminance(b);
    return (std::max(x, y) + 0.05) / (std::min(x, y) + 0.05);
}

// WCAG 2.2: the formula here gives the published ratios, and every text colour of the sheet passes 4.5 : 1 on white.
TEST(Style, TextColoursPassContrast) {
    std::ifstream in(source_path("tests/data/reference/wcag-contrast.csv"));
    ASSERT_TRUE(in);
    std::string line;
    std::getline(in, line);
    int rows = 0;
    while (std::getline(in, line)) {
        const auto f = split(line, ',');
        EXPECT_NEAR(contrast(std::stoi(f[0], nullptr, 16), std::stoi(f[1], nullptr, 16)), std::stod(f[2]), 6e-5);
        ++rows;
    }
    EXPECT_GT(rows, 10);
    const std::string css(kStyle);
    static const std::regex colour("[ {;]color: #([0-9a-f]{6})");
    int colours = 0;
    for (auto it = std::sregex_iterator(css.begin(), css.end(), colour); it != std::sregex_iterator(); ++it, ++colours)
        EXPECT_GE(contrast(std::stoi((*it)[1], nullptr, 16), 0xffffff), 4.5) << (*it)[1];
    EXPECT_GE(colours, 3);
}
TEST(Style, IsGreyOnly) {
    const std::string css(kStyle);
    static const std::regex colour("#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})");
    for (auto it = std::sregex_iterator(css.begin(), css.end(), colour); it != std::sregex_iterator(); ++it) {
        EXPECT_EQ((*it)[1], (*it)[2]);
        EXPECT_EQ((*it)[2], (*it)[3]);
    }
}

}  // namespace
}  // namespace fettle::handover
