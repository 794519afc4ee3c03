// An option takes one value each time that it is given. One that took all words behind it once swallowed the labels of
// `identify --view "…" LABEL LABEL`, and what was then said was said of nothing.
#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "cli_builder.h"

namespace fettle::app {
namespace {

struct Told {
    std::vector<std::string> command;
    std::string option;  // "--view"
    int words = 1;       // that it takes: two for a role and its plate
};

void collect(CLI::App& app, std::vector<std::string> path, std::vector<Told>& out) {
    for (const CLI::Option* o : app.get_options())
        if (!o->get_positional() && o->get_items_expected_min() > 0 && !o->get_lnames().empty())
            out.push_back({path, "--" + o->get_lnames().front(), o->get_type_size_max()});
    for (CLI::App* command : app.get_subcommands([](CLI::App*) { return true; })) {
        auto deeper = path;
        deeper.push_back(command->get_name());
        collect(*command, deeper, out);
    }
}

TEST(CommandLine, EveryOptionTakesOneValue) {
    CommandLine all;
    std::vector<Told> options;
    collect(all.app, {}, options);
    ASSERT_GT(options.size(), 150u);  // a check that looked at nothing has failed
    for (const Told& told : options) {
        CommandLine line;
        std::vector<std::string> words{"fettle"};
        words.insert(words.end(), told.command.begin(), told.command.end());
        words.push_back(told.option);
        for (int i = 0; i < told.words; ++i) words.emplace_back("7");
        words.emplace_back("left");
        words.emplace_back("alone");
        std::vector<const char*> argv;
        for (const std::string& w : words) argv.push_back(w.c_str());
        try {
            line.app.parse(static_cast<int>(argv.size()), argv.data());
        } catch (const CLI::ParseError&) {  // something else is missing, or there is no place for the two words
        }
        CLI::App* at = &line.app;
        for (const std::string& name : told.command) at = at->get_subcommand(name);
        const auto taken = at->get_option(told.option)->results();
        EXPECT_EQ(taken, std::vector<std::string>(static_cast<std::size_t>(told.words), "7"))
            << told.option << " of " << (told.command.empty() ? "every command" : told.command.back());
    }
}

}  // namespace
}  // namespace fettle::app
