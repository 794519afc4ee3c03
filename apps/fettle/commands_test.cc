#include "commands.h"

#include <gtest/gtest.h>

#include <set>
#include <variant>

#include "cli.h"
#include "fettle/base/source_path.h"
#include "fettle/base/text.h"
#include "fettle/ready/ready.h"
#include "fettle/rehearse/told.h"

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
    EXPECT_EQ(as_command(with(wanted("by", "NAME"))), "--by NAME");
    EXPECT_EQ(as_command(with(given("tried", "same card"))), "--tried 'same card'");
    EXPECT_EQ(as_command(with(flag("undo"))), "--undo");
}

void expect_typable(Next next, std::set<Act>& met) {
    next.name_job("0001X");
    for (const Next::Part& p : next.parts()) {
        if (!std::holds_alternative<Proposal>(p)) continue;
        Proposal act = std::get<Proposal>(p);
        met.insert(act.act);
        for (Argument& a : act.arguments)
            if (a.to_fill_in && a.value == "N") a.value = "7";  // filled in, as it must be
        const std::vector<std::string> words = split(as_command(act), ' ');
        std::vector<const char*> argv;
        for (const std::string& w : words) argv.push_back(w.c_str());
        const Parsed parsed = parse_command_line(static_cast<int>(argv.size()), argv.data());
        EXPECT_TRUE(std::holds_alternative<Invocation>(parsed)) << as_command(act);
    }
}

// With its arguments, too: of a check that lacks everything, each act must be a command that the program takes.
TEST(Commands, WhatSettlesAReadyCheckCanBeTyped) {
    std::vector<ready::Situation> lacking(4);
    lacking[0].one_way_door = true;
    lacking[0].keepings = {{"keeping-1", "map card", "sd", "", false}};
    lacking[0].read_s_ago["supply.volts"] = 7200;
    lacking[1].card_release = lacking[1].release = "27.3.118";
    lacking[1].cards = 2;
    lacking[1].further_cards[2] = false;
    lacking[2].told["call"] = "not-heard";
    lacking[3].right_known = true;
    forecast::Forecast forecast;
    forecast.states.emplace_back().act = "asks";
    std::set<Act> met;
    for (const char* file : {"families/dunnock.toml", "families/brill.toml"}) {
        const family::Family family = family::load_family(source_path(file)).value();
        for (const ready::Situation& s : lacking)
            for (const ready::Item& i : ready::check(family, forecast, {}, s).items) expect_typable(i.reason.next, met);
    }
    const std::set<Act> all{Act::plan,        Act::consent, Act::lay_card, Act::audit_card, Act::add_to_shelf,
                            Act::read_supply, Act::note,    Act::show_job, Act::watch,      Act::test_touch};
    EXPECT_EQ(met, all);
}

// A rehearsal shows what it does as commands: each is one that the program knows.
template <std::size_t K = 0>
void expect_known_commands() {
    const std::vector<std::string> words =
        split(as_command(rehearse::Done{std::variant_alternative_t<K, rehearse::Outcome>{}, {}, false}.act()), ' ');
    std::vector<const char*> argv;
    for (const std::string& w : words) argv.push_back(w.c_str());
    const Parsed parsed = parse_command_line(static_cast<int>(argv.size()), argv.data());
    std::string command;
    if (const auto* refused = std::get_if<Refused>(&parsed)) command = refused->command;
    if (const auto* call = std::get_if<Invocation>(&parsed)) command = call->command;
    EXPECT_EQ("fettle " + command, join(words, " "));
    if constexpr (K + 1 < std::variant_size_v<rehearse::Outcome>) expect_known_commands<K + 1>();
}
TEST(Commands, WhatARehearsalDoesAreCommandsOfTheProgram) {
    expect_known_commands();
    EXPECT_EQ(as_command(rehearse::Done{rehearse::NoAnswer{}, {job("0001X"), given("at", "doip://h:1")}, false}.act()),
              "fettle link read --job 0001X --at doip://h:1");
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
