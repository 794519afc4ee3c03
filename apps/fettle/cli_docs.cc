#include "cli_docs.h"

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <functional>

namespace fettle::app {
namespace {

// A leading dot or quote starts a troff request, a backslash an escape, a hyphen becomes a minus that can be copied.
std::string troff(const std::string& text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if ((text[i] == '.' || text[i] == '\'') && (i == 0 || text[i - 1] == '\n')) out += "\\&";
        if (text[i] == '\\')
            out += "\\e";
        else if (text[i] == '-')
            out += "\\-";
        else
            out += text[i];
    }
    return out;
}

std::string path_of(const CLI::App& app) {
    const CLI::App* up = app.get_parent();
    return up && up->get_parent() ? path_of(*up) + " " + app.get_name() : app.get_name();
}

// Leaves first come, first served: the order of definition is the order of the job.
void each_command(const CLI::App& app, const std::function<void(const CLI::App&)>& f) {
    for (const CLI::App* sub : app.get_subcommands([](const CLI::App*) { return true; })) {
        if (sub->get_subcommands([](const CLI::App*) { return true; }).empty()) f(*sub);
        each_command(*sub, f);
    }
}

std::string options_section(const CLI::App& app) {
    std::string out;
    for (const CLI::Option* o : app.get_options()) {
        std::string name = o->get_positional() ? o->get_name() : o->get_name(false, true);
        if (o->get_type_size() != 0 && !o->get_positional()) name += " " + o->get_type_name();
        out += ".TP\n.B " + troff(name) + "\n" + troff(o->get_description()) + "\n";
    }
    return out;
}

}  // namespace

std::string man_page(const CLI::App& app) {
    std::string out =
        ".TH FETTLE 1\n.SH NAME\nfettle \\- carries a head unit update from take\\-in to a sealed handover sheet\n";
    out += ".SH SYNOPSIS\n.B fettle\n[GLOBAL OPTIONS] COMMAND [ARGUMENTS]\n";
    out += ".SH DESCRIPTION\n" + troff(app.get_description()) + "\n";
    out += ".SH GLOBAL OPTIONS\n" + options_section(app);
    out += ".SH COMMANDS\n";
    each_command(app, [&](const CLI::App& command) {
        out += ".SS fettle " + troff(path_of(command)) + "\n" + troff(command.get_description()) + "\n" +
               options_section(command);
    });
    out += ".SH EXIT STATUS\n";
    for (const auto& [code, text] : {std::pair{"0", "done; verdict fit or mind"},
                                     {"1", "done; verdict can't say or halt"},
                                     {"2", "wrong command line"},
                                     {"3", "bad input: file, package, card, family file"},
                                     {"4", "something outside failed: device, link, database, disk"}})
        out += std::string(".TP\n.B ") + code + "\n" + troff(text) + "\n";
    return out;
}

std::string bash_completion(const CLI::App& app) {
    const auto words_of = [](const CLI::App& a) {
        std::string out;
        for (const CLI::App* sub : a.get_subcommands([](const CLI::App*) { return true; }))
            out += sub->get_name() + " ";
        for (const CLI::Option* o : a.get_options())
            for (const std::string& name : o->get_lnames()) out += "--" + name + " ";
        return out;
    };
    std::string out = "_fettle() {\n    local cur=${COMP_WORDS[COMP_CWORD]} path= word\n";
    out += "    for word in \"${COMP_WORDS[@]:1:COMP_CWORD-1}\"; do [[ $word == -* ]] || path=\"$path $word\"; done\n";
    out += "    local words=\n    case \"$path\" in\n";
    std::function<void(const CLI::App&)> cases = [&](const CLI::App& a) {
        for (const CLI::App* sub : a.get_subcommands([](const CLI::App*) { return true; })) {
            cases(*sub);  // the longer path first: patterns are tried in order
            out += "        \" " + path_of(*sub) + "\"*) words=\"" + words_of(*sub) + "\" ;;\n";
        }
    };
    cases(app);
    out += "        *) words=\"" + words_of(app) + "\" ;;\n    esac\n";
    out +=
        "    COMPREPLY=($(compgen -W \"$words\" -- \"$cur\") $(compgen -f -- \"$cur\"))\n}\ncomplete -o filenames -F "
        "_fettle fettle\n";
    return out;
}

}  // namespace fettle::app
