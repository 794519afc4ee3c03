#include "cli.h"

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <string_view>

#include "cli_docs.h"
#include "cmd_family.h"
#include "cmd_identity.h"

namespace fettle::app {
namespace {

namespace fs = std::filesystem;

fs::path default_home() {
    if (const char* xdg = std::getenv("XDG_DATA_HOME"); xdg && *xdg) return fs::path(xdg) / "fettle";
    if (const char* home = std::getenv("HOME"); home && *home) return fs::path(home) / ".local/share/fettle";
    return ".fettle";
}

// One object per call: CLI11 fills the options that the definitions below name, and the chosen command's function.
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

    template <class Options>
    using Run = Result<Answer> (*)(Context&, const Options&);

    // A command whose options are filled by `define_options` before `run` is called with them.
    template <class Options, class Define>
    void command(CLI::App& under, const std::string& name, const std::string& words, Run<Options> run,
                 Define define_options) {
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

    void define();
    void define_lore();
};

void CommandLine::define_lore() {
    CLI::App& family = group("family", "family files: what is known of boxes that take the same releases");
    struct None {};
    command<None>(
        family, "list", "the family files known here", [](Context& c, const None&) { return family_list(c); },
        [](CLI::App&, None&) {});
    command<FamilyShowOptions>(family, "show", "one family: boxes, script, boot order, what is open", family_show,
                               [](CLI::App& c, FamilyShowOptions& o) { c.add_option("ID", o.id)->required(); });
    command<FamilyCheckOptions>(family, "check",
                                "every mistake of a family file by line and key, and what it leaves open", family_check,
                                [](CLI::App& c, FamilyCheckOptions& o) { c.add_option("FILE", o.file)->required(); });
    command<FamilyAddOptions>(
        family, "add", "take a checked family file into use", family_add, [](CLI::App& c, FamilyAddOptions& o) {
            c.add_option("FILE", o.file)->required();
            c.add_option("--accept-loosening-by", o.accept_loosening_by, "who accepts that the new file allows more")
                ->type_name("NAME");
        });

    command<IdentifyOptions>(
        app, "identify", "plates and version views: which boxes are these?", identify,
        [](CLI::App& c, IdentifyOptions& o) {
            c.add_option("PLATE", o.plates, "plates as typed");
            c.add_option("--view", o.views, "a version view as typed")->type_name("TEXT");
            c.add_option("--family", o.family, "try this family only")->type_name("ID");
            c.add_option("--sure", o.sure,
                         "character N was looked at again and is as typed (plate2.4 for the second plate)")
                ->type_name("N");
            c.add_flag("--photo", o.photo, "the texts were read off a photo");
            c.add_option("--housings", o.housings, "labelled housings handed over")->type_name("N");
        });
    command<VinOptions>(app, "vin", "character rule and check digit of a vehicle identification number", vin,
                        [](CLI::App& c, VinOptions& o) {
                            c.add_option("VIN", o.vin)->required();
                            c.add_flag("--us-market", o.rule_applies, "made for a market where 49 CFR 565 applies");
                        });
}

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

    define_lore();

    CLI::App& docs = group("docs", "man page and shell completion");
    docs.group("");
    docs.add_subcommand("man", "the man page, for man -l -")->callback([this] {
        std::fputs(man_page(app).c_str(), stdout);
        throw CLI::Success();
    });
    docs.add_subcommand("bash", "completion for bash")->callback([this] {
        std::fputs(bash_completion(app).c_str(), stdout);
        throw CLI::Success();
    });
}

// The deepest command named on the line, for messages and the help to point to.
std::string command_named(const CLI::App& app) {
    for (const CLI::App* sub : app.get_subcommands()) {
        const std::string deeper = command_named(*sub);
        return deeper.empty() ? sub->get_name() : sub->get_name() + " " + deeper;
    }
    return {};
}

}  // namespace

Parsed parse_command_line(int argc, const char* const* argv) {
    CommandLine line;
    try {
        line.app.parse(argc, argv);
    } catch (const CLI::Success& done) {  // help, version, docs
        return line.app.exit(done);
    } catch (const CLI::ParseError& e) {
        const std::string command = command_named(line.app);
        const bool json = std::any_of(argv, argv + argc, [](const char* a) { return std::string_view(a) == "--json"; });
        Error error{ErrorKind::usage, "command-line-wrong", "", e.what(),
                    "see: fettle " + (command.empty() ? std::string() : command + " ") + "--help"};
        return Refused{std::move(error), command, json};
    }
    return std::move(line.call);
}

}  // namespace fettle::app
