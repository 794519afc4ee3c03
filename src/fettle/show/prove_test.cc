#include "fettle/show/prove.h"

#include <gtest/gtest.h>

namespace fettle::show {
namespace {

std::string by_name(const Proposal& act) {
    return std::string(name_of(act.act));
}

workshop::Proved example() {
    workshop::Proved p;
    p.job = "0001X";
    p.proof.sentence = "Nothing is proved yet.";
    p.faults.sentence = "The fault memory was not read.";
    for (int i = 0; i < 8; ++i)
        p.proof.pieces.push_back({"main", "app-" + std::to_string(i), "4.0", "3.0", prove::PieceState::other_version,
                                  change::Action::replace});
    p.proof.pieces.push_back({"main", "loader", "4.0", "4.0", prove::PieceState::as_expected, change::Action::keep});
    return p;
}

TEST(ShowProof, FivePiecesThatDifferAreNamedAndTheRestCounted) {
    const std::string page = proved(example(), false).text.text(by_name);
    EXPECT_NE(page.find("app-4"), std::string::npos);
    EXPECT_EQ(page.find("app-5"), std::string::npos);
    EXPECT_NE(page.find("and 3 more"), std::string::npos);
    EXPECT_EQ(page.find("loader"), std::string::npos);
    const std::string full = proved(example(), true).text.text(by_name);
    EXPECT_NE(full.find("app-7"), std::string::npos);
    EXPECT_NE(full.find("loader"), std::string::npos);
}

TEST(ShowProof, WhatIsMissingComesWithTheActThatGivesIt) {
    workshop::Proved p = example();
    EXPECT_EQ(proved(p, false).text.text(by_name).find("given by"), std::string::npos);
    p.proof.to_give = {prove::Give::tally, prove::Give::as_left, prove::Give::trial, prove::Give::end_of_run};
    EXPECT_NE(proved(p, false).text.text(by_name).find("given by: after; mark; mark; prove\n"), std::string::npos);
}

TEST(ShowProof, AProofWithFaultsSaysBothOnItsFirstLine) {
    workshop::Proved p = example();
    p.proof.sentence = "Proved: all 9 pieces are as planned (typed).";
    p.proof.proof = prove::Proof::proved;
    p.faults.judgement.add({"faults-not-read", Verdict::cant_say, "not read", "faults", "not read"});
    EXPECT_EQ(proved(p, false).headline, p.proof.sentence + " " + p.faults.sentence);
}

}  // namespace
}  // namespace fettle::show
