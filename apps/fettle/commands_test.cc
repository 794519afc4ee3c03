#include "commands.h"

#include <gtest/gtest.h>

#include <variant>

#include "cli.h"
#include "fettle/base/text.h"

namespace fettle::app {
namespace {

// The command line must know each command that an act is shown as: a next step that cannot be typed is none.
TEST(Commands, EveryActIsACommandOfTheProgram) {
    for (int i = 0; i <= static_cast<int>(Act::rehearse); ++i) {
        const std::string shown = as_command(propose(static_cast<Act>(i)));
        const std::vector<std::string> words = split(shown, ' ');
        std::vector<const char*> argv;
        for (const std::string& w : words) argv.push_back(w.c_str());
        const Parsed parsed = parse_command_line(static_cast<int>(argv.size()), argv.data());
        std::string command;
        if (const auto* refused = std::get_if<Refused>(&parsed)) command = refused->command;
        if (const auto* call = std::get_if<Invocation>(&parsed)) command = call->command;
        EXPECT_EQ("fettle " + command, shown);
    }
}

TEST(Commands, ArgumentsStandInTheirPlaceAndAreQuoted) {
    EXPECT_EQ(as_command(propose(Act::consent, {job("00042-3"), given("what", "one-way"), wanted("by", "NAME")})),
              "fettle job consent 00042-3 one-way --by NAME");
    EXPECT_EQ(as_command(propose(Act::mark, {given("event", "it's done"), job("00042-3")})),
              "fettle mark 00042-3 'it'\\''s done'");
    EXPECT_EQ(as_command(propose(Act::plan, {job("00042-3"), flag("ascii")})), "fettle plan --job 00042-3 --ascii");
}

// POSIX.1-2017, Shell Command Language, 2.2.2: between single quotes every character but the quote stands for itself.
TEST(Commands, AWordOfTheShellIsQuotedWhereItHasToBe) {
    EXPECT_EQ(shell_word("plain-word_1.2/x"), "plain-word_1.2/x");
    EXPECT_EQ(shell_word(""), "''");
    EXPECT_EQ(shell_word("$HOME; rm x"), "'$HOME; rm x'");
    EXPECT_EQ(shell_word("~me"), "'~me'");
    EXPECT_EQ(shell_word("a\nb"), "'a\\x0ab'");
}

}  // namespace
}  // namespace fettle::app
