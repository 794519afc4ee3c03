#include "cli_docs.h"

#include <fmt/core.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

namespace fettle::app {
namespace {

// What stands beyond ASCII goes by its code point, so that no formatter has to be told the encoding. The program's own
// texts are valid UTF-8.
void append_beyond_ascii(std::string& out, const std::string& text, std::size_t& i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    int more = byte >= 0xF0 ? 3 : byte >= 0xE0 ? 2 : 1;
    unsigned code = byte & (0x3Fu >> more);
    for (; more > 0 && i + 1 < text.size(); --more) code = code << 6 | (static_cast<unsigned char>(text[++i]) & 0x3Fu);
    out += fmt::format("\\[u{:04X}]", code);
}

// A leading dot or quote starts a troff request, a backslash an escape, a hyphen becomes a minus that can be copied.
std::string troff(const std::string& text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if ((text[i] == '.' || text[i] == '\'') && (i == 0 || text[i - 1] == '\n')) out += "\\&";
        if (text[i] == '\\')
            out += "\\e";
        else if (text[i] == '-')
            out += "\\-";
        else if (static_cast<unsigned char>(text[i]) >= 0x80)
            append_beyond_ascii(out, text, i);
        else
            out += text[i];
    }
    return out;
}

std::vector<const CLI::App*> subcommands(const CLI::App& app) {
    return app.get_subcommands([](const CLI::App*) { return true; });
}

std::string path_of(const CLI::App& app) {
    const CLI::App* up = app.get_parent();
    return up && up->get_parent() ? path_of(*up) + " " + app.get_name() : app.get_name();
}

// Leaves first come, first served: the order of definition is the order of the job.
void each_command(const CLI::App& app, const std::function<void(const CLI::App&)>& f) {
    for (const CLI::App* sub : subcommands(app)) {
        if (subcommands(*sub).empty()) f(*sub);
        each_command(*sub, f);
    }
}

bool takes_value(const CLI::Option& o) {
    return o.get_items_expected_max() > 0;
}

// The words of an option that takes one of a few: its type is named "TEXT:{bench,vehicle}".
std::vector<std::string> choices_of(const CLI::Option& o) {
    const std::string type = o.get_type_name();
    const std::size_t open = type.find(":{");
    if (open == std::string::npos || type.back() != '}') return {};
    std::vector<std::string> out{""};
    for (const char c : type.substr(open + 2, type.size() - open - 3)) {
        if (c == ',')
            out.emplace_back();
        else
            out.back() += c;
    }
    return out;
}

std::string value_of(const CLI::Option& o) {
    std::string out;
    for (const std::string& choice : choices_of(o)) out += (out.empty() ? "" : "|") + choice;
    if (!out.empty()) return out;
    out = o.get_type_name();
    const std::size_t bounds = out.find(":INT in ");  // "K:INT in [1 - 3]"
    return bounds == std::string::npos ? out : out.substr(0, bounds) + " " + out.substr(bounds + 8);
}

std::string options_section(const CLI::App& app, bool with_help) {
    std::string out;
    for (const CLI::Option* o : app.get_options()) {
        if (!with_help && o == app.get_help_ptr()) continue;
        std::string name = o->get_positional() ? o->get_name() : o->get_name(false, true);
        if (takes_value(*o) && !o->get_positional()) name += " " + value_of(*o);
        std::string words = o->get_description();
        if (o->get_required() && !o->get_positional()) words += " (required)";
        if (!o->get_default_str().empty()) words += " (default " + o->get_default_str() + ")";
        out += ".TP\n.B " + troff(name) + "\n" + troff(words) + "\n";
    }
    return out;
}

// "fettle job show J": the command and what stands behind it without a name.
std::string title_of(const CLI::App& command) {
    std::string out = "fettle " + path_of(command);
    for (const CLI::Option* o : command.get_options())
        if (o->get_positional())
            out += (o->get_required() ? " " + o->get_name() : " [" + o->get_name() + "]") +
                   (o->get_items_expected_max() > 1 ? "\u2026" : "");
    return out;
}

}  // namespace

std::string man_page(const CLI::App& app) {
    std::string out =
        ".TH FETTLE 1\n.SH NAME\nfettle \\- carries a head unit update from take\\-in to a sealed handover sheet\n";
    out += ".SH SYNOPSIS\n.B fettle\n[GLOBAL OPTIONS] COMMAND [ARGUMENTS]\n";
    out += ".SH DESCRIPTION\n" + troff(app.get_description()) + "\n";
    out += ".SH GLOBAL OPTIONS\nThey may stand before or behind the command.\n" + options_section(app, true);
    out += ".SH COMMANDS\n";
    each_command(app, [&](const CLI::App& command) {
        out += ".SS " + troff(title_of(command)) + "\n" + troff(command.get_description()) + "\n" +
               options_section(command, false);
    });
    out += ".SH EXIT STATUS\n";
    for (const auto& [code, text] : {std::pair{"0", "done; verdict fit or mind"},
                                     {"1", "done; verdict can't say or halt"},
                                     {"2", "wrong command line"},
                                     {"3", "bad input: file, package, card, family file"},
                                     {"4", "something outside failed: device, link, database, disk"}})
        out += std::string(".TP\n.B ") + code + "\n" + troff(text) + "\n";
    out += ".SH ENVIRONMENT\n.TP\n.B XDG_DATA_HOME\n" +
           troff(
               "without --home, book, shelf, family files and keys are in its folder fettle; ~/.local/share stands "
               "in for it when it is not set") +
           "\n";
    return out;
}

std::string bash_completion(const CLI::App& app) {
    const auto options_of = [](const CLI::App& a) {
        std::string out;
        for (const CLI::Option* o : a.get_options())
            for (const std::string& name : o->get_lnames()) out += "--" + name + " ";
        return out;
    };
    const auto words_of = [&](const CLI::App& a) {
        std::string out;
        for (const CLI::App* sub : subcommands(a)) out += sub->get_name() + " ";
        return out + options_of(a);
    };
    // Names of options that take a value, and the values where they are few.
    std::set<std::string> valued;
    std::map<std::string, std::set<std::string>> choices;
    std::function<void(const CLI::App&)> look = [&](const CLI::App& a) {
        for (const CLI::Option* o : a.get_options())
            for (const std::string& name : o->get_lnames()) {
                if (takes_value(*o)) valued.insert("--" + name);
                for (const std::string& choice : choices_of(*o)) choices["--" + name].insert(choice);
            }
        for (const CLI::App* sub : subcommands(a)) look(*sub);
    };
    look(app);

    std::string out = "_fettle() {\n    local cur=${COMP_WORDS[COMP_CWORD]} path= words= files= option= word\n";
    out += "    [[ $cur == = ]] && cur=\n";
    out += "    for word in \"${COMP_WORDS[@]:1:COMP_CWORD-1}\"; do\n";
    out += "        [[ $word == = ]] && continue\n";
    out += "        if [[ $option ]]; then option=; continue; fi\n";
    out += "        case $word in\n            ";
    std::string names;
    for (const std::string& name : valued) names += (names.empty() ? "" : "|") + name;
    out += names + ") option=$word ;;\n            -*) ;;\n            *) path=\"$path $word\" ;;\n        esac\n";
    out += "    done\n    case \"$option$path\" in\n";
    for (const auto& [name, values] : choices) {
        std::string list;
        for (const std::string& value : values) list += (list.empty() ? "" : " ") + value;
        out += "        " + name + "*) words=\"" + list + "\" ;;\n";
    }
    out += "        --*) files=1 ;;\n";
    std::string global;  // they may stand behind the command, too
    for (const CLI::Option* o : app.get_options())
        if (takes_value(*o) || (o != app.get_help_ptr() && o->get_name() != "--version"))
            global += o->get_name(false, true) + " ";
    std::function<void(const CLI::App&)> cases = [&](const CLI::App& a) {
        for (const CLI::App* sub : subcommands(a)) {
            cases(*sub);  // the longer path first: patterns are tried in order
            const std::string path = "\" " + path_of(*sub) + "\"";
            out += "        " + path + "|" + path + "\\ *) words=\"" + words_of(*sub) + global + "\"" +
                   (subcommands(*sub).empty() ? " files=1" : "") + " ;;\n";
        }
    };
    cases(app);
    out += "        *) words=\"" + words_of(app) + "\" ;;\n    esac\n";
    out += "    COMPREPLY=($(compgen -W \"$words\" -- \"$cur\"))\n";
    out += "    [[ $files ]] && COMPREPLY+=($(compgen -f -- \"$cur\"))\n    return 0\n}\n";
    out += "complete -o filenames -F _fettle fettle\n";
    return out;
}

}  // namespace fettle::app
