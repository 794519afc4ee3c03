// The command line's builder, for the cli*.cc files alone: CLI11 is heavy, and nothing else may see it.
#pragma once

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <memory>
#include <optional>
#include <string>

#include "cli.h"

namespace fettle::app {

// One object per call: CLI11 fills the options that the definitions below name, and the chosen command's function.
// An option whose words stand for values: `named` knows them, a check() besides refuses others.
template <class T>
CLI::Option* named_option(CLI::App& command, const char* name, std::optional<T>& into,
                          std::optional<T> (*named)(std::string_view), const char* words) {
    return command.add_option_function<std::string>(
        name, [&into, named](const std::string& typed) { into = named(typed); }, words);
}

class CommandLine {
public:
    CommandLine() { define(); }

    CLI::App app{
        "Fettle carries a head unit update from take-in to a sealed handover sheet: which boxes are these, which "
        "release fits, what will be written, how long, what a power cut would do, is the card good, where is the run, "
        "did everything land, what is still open."};
    Invocation call;

private:
    std::string home_;

    // A command whose options are filled by `define_options` before `run` is called with them.
    template <class Options, class Run, class Define>
    void command(CLI::App& under, const std::string& name, const std::string& words, Run run, Define define_options) {
        CLI::App* c = under.add_subcommand(name, words);
        auto options = std::make_shared<Options>();
        define_options(*c, *options);
        c->callback([this, c, run, options] {
            call.command = c->get_parent() == &app ? c->get_name() : c->get_parent()->get_name() + " " + c->get_name();
            call.run = [run, options](Context& context) { return run(context, *options); };
        });
    }

    CLI::App& group(const std::string& name, const std::string& words) {
        CLI::App* g = app.add_subcommand(name, words);
        g->require_subcommand(1);
        return *g;
    }

    struct None {};

    void define();
    void define_job();
    void define_identity();
    void define_lore();
    void define_shelf();
    void define_shelf_care(CLI::App& shelf);
    void define_plan_and_card();
    void define_link();
    void define_ready();
    void define_run();
};

}  // namespace fettle::app
