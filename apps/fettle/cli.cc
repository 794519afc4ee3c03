#include "cli.h"

#include <algorithm>
#include <cstdlib>
#include <memory>
#include <string_view>
#include <vector>

#include "cli_builder.h"
#include "fettle/base/text.h"

namespace fettle::app {
namespace {

namespace fs = std::filesystem;

fs::path default_home() {
    if (const char* xdg = std::getenv("XDG_DATA_HOME"); xdg && *xdg) return fs::path(xdg) / "fettle";
    if (const char* home = std::getenv("HOME"); home && *home) return fs::path(home) / ".local/share/fettle";
    return ".fettle";
}

// An option takes one value each time that it is given, however often it may be: what stands behind is not its own.
void one_value_each(CLI::App& app) {
    for (CLI::Option* option : app.get_options())
        if (!option->get_positional()) option->allow_extra_args(false);
    for (CLI::App* command : app.get_subcommands([](CLI::App*) { return true; })) one_value_each(*command);
}

}  // namespace

void CommandLine::define() {
    app.name("fettle");
    app.require_subcommand(1);
    app.fallthrough();  // global options may stand behind the command as well
    app.set_version_flag("--version", std::string("fettle ") + FETTLE_VERSION);
    app.add_option("--home", home_, "folder of book, shelf, family files and keys")->type_name("DIR");
    app.add_option("--job", call.context.job, "what the command saw and decided is appended to this job")
        ->type_name("J");
    app.add_flag("--json", call.context.json, "one JSON document on standard output");
    app.add_flag("--timings", call.timings, "time and memory used, on standard error");
    app.parse_complete_callback([this] { call.context.home = home_.empty() ? default_home() : fs::path(home_); });

    define_job();
    define_identity();
    define_lore();
    define_shelf();
    define_plan_and_card();
    define_link();
    define_ready();
    define_run();
    one_value_each(app);
}

namespace {

// The deepest command named on the line, for messages and the help to point to.
std::string command_named(const CLI::App& app) {
    for (const CLI::App* sub : app.get_subcommands()) {
        const std::string deeper = command_named(*sub);
        return deeper.empty() ? sub->get_name() : sub->get_name() + " " + deeper;
    }
    return {};
}

// Texts that are kept and shown: names of files may be any bytes, these may not.
std::string text_that_is_none(const CLI::App& app) {
    for (const CLI::Option* option : app.get_options()) {
        const std::string kind = option->get_type_name();
        const bool text =
            option->get_positional() ? option->get_single_name() == "TEXT" : kind == "TEXT" || kind == "NAME";
        if (!text) continue;
        for (const std::string& said : option->results())
            if (!is_utf8(said)) return (option->get_positional() ? "" : "--") + option->get_single_name();
    }
    for (const CLI::App* sub : app.get_subcommands())
        if (std::string place = text_that_is_none(*sub); !place.empty()) return place;
    return {};
}

}  // namespace

Parsed parse_command_line(int argc, const char* const* argv) {
    // "--name=" gives an empty value; CLI11 would take the word behind it.
    std::vector<std::string> kept;
    kept.reserve(static_cast<std::size_t>(argc));
    std::vector<const char*> words;
    bool options_end = false;
    for (int i = 0; i < argc; ++i) {
        const std::string_view word = argv[i];
        options_end = options_end || word == "--";
        if (options_end || word.size() < 4 || word.substr(0, 2) != "--" || word.find('=') != word.size() - 1) {
            words.push_back(argv[i]);
            continue;
        }
        kept.emplace_back(word.substr(0, word.size() - 1));
        words.push_back(kept.back().c_str());
        words.push_back("");
    }

    CommandLine line;
    try {
        line.app.parse(static_cast<int>(words.size()), words.data());
    } catch (const CLI::Success& done) {  // help, version
        return line.app.exit(done);
    } catch (const CLI::ParseError& e) {
        const std::string command = command_named(line.app);
        const bool json = std::any_of(argv, argv + argc, [](const char* a) { return std::string_view(a) == "--json"; });
        Error error{ErrorKind::usage, "command-line-wrong", "", e.what(),
                    "see: fettle " + (command.empty() ? std::string() : command + " ") + "--help"};
        return Refused{std::move(error), command, json};
    }
    if (std::string place = text_that_is_none(line.app); !place.empty()) {
        const std::string command = command_named(line.app);
        return Refused{{ErrorKind::bad_input, "text-not-utf8", std::move(place), "the text is not UTF-8",
                        "type it again, or set the terminal to UTF-8"},
                       command,
                       line.call.context.json};
    }
    return std::move(line.call);
}

}  // namespace fettle::app
