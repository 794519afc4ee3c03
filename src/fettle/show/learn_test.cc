#include "fettle/show/learn.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

std::string shown(const Proposal& act) {
    std::string out = "<" + std::string(name_of(act.act));
    for (const Argument& a : act.arguments) out += " " + a.name + "=" + a.value;
    return out + ">";
}

TEST(ShowLearn, WhatWouldLoosenIsNotWrittenAndSaysWhichLine) {
    workshop::LearntFamily l;
    l.file = "wren.toml";
    l.job = "1007-3";
    l.run = 1;
    learn::Line line;
    line.key = "act.recovery.seconds";
    line.after = "120";
    l.learnt.lines = {line};
    Answer a = learnt(l);
    EXPECT_EQ(a.headline, "Run 1 of job 1007-3 teaches wren.toml 1 line.");
    EXPECT_FALSE(a.verdict_matters);
    EXPECT_NE(a.text.text(shown).find("<learn-family file=wren.toml job=1007-3 accept=all> (or N, or N-M)\n"),
              std::string::npos);
    l.accepted = {1};
    l.unnamed = {1};
    a = learnt(l);
    EXPECT_EQ(a.headline, "Not written: line 1 would loosen the file.");
    EXPECT_FALSE(a.data.at("written").as_bool());
}

}  // namespace
}  // namespace fettle::show
