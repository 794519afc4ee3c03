#include "commands.h"

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::app {
namespace {

struct Form {
    const char* command;
    std::vector<std::string> by_place;  // arguments that stand without a name, in their order
};

Form form_of(Act act) {
    switch (act) {
        case Act::open_job: return {"job open", {}};
        case Act::list_jobs: return {"job list", {}};
        case Act::show_job: return {"job show", {"job"}};
        case Act::note: return {"job note", {"job", "text"}};
        case Act::consent: return {"job consent", {"job", "what"}};
        case Act::open_points: return {"job loose-ends", {"job"}};
        case Act::draft_family: return {"family draft", {"package"}};
        case Act::learn_family: return {"family learn", {"file"}};
        case Act::check_family: return {"family check", {"file"}};
        case Act::import_family: return {"family import", {"file"}};
        case Act::add_family: return {"family add", {"file"}};
        case Act::return_thing: return {"job return", {"job", "id"}};
        case Act::identify: return {"identify", {"label"}};
        case Act::find_boxes: return {"link find", {}};
        case Act::read_boxes: return {"link read", {}};
        case Act::read_faults: return {"link faults", {}};
        case Act::keep_faults: return {"faults", {"job"}};
        case Act::add_to_shelf: return {"shelf add", {"package"}};
        case Act::verify_shelf: return {"shelf verify", {"release"}};
        case Act::tidy_shelf: return {"shelf tidy", {}};
        case Act::show_release: return {"shelf show", {"release"}};
        case Act::plan: return {"plan", {}};
        case Act::lay_card: return {"card lay", {"release"}};
        case Act::audit_card: return {"card audit", {"file"}};
        case Act::list_devices: return {"card devices", {}};
        case Act::gauge_card: return {"card gauge", {"device"}};
        case Act::check_ready: return {"ready check", {"job"}};
        case Act::answer: return {"ready answer", {"job", "answer"}};
        case Act::accept: return {"ready accept", {"job", "code"}};
        case Act::test_touch: return {"ready touch", {"job"}};
        case Act::read_supply: return {"ready supply", {"job"}};
        case Act::watch: return {"watch", {"job"}};
        case Act::mark: return {"mark", {"job", "event"}};
        case Act::after: return {"as-left", {"job"}};
        case Act::prove: return {"prove", {"job"}};
        case Act::mend: return {"mend", {"job"}};
        case Act::make_sheet: return {"handover make", {"job"}};
        case Act::check_sheet: return {"handover check", {"file"}};
        case Act::rehearse: return {"rehearse", {}};
        case Act::same: return {"", {}};
    }
    return {"", {}};
}

// A word to fill in is shown as it is: "NAME", "KEY=VALUE".
std::string shown(const Argument& a) {
    return a.to_fill_in ? printable(a.value) : shell_word(a.value);
}

// "--by NAME", "--undo"
std::string option(const Argument& a) {
    return "--" + a.name + (a.value.empty() ? "" : " " + shown(a));
}

}  // namespace

std::string shell_word(const std::string& text) {
    constexpr const char* plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./+:=,@~%";
    if (!text.empty() && text.find_first_not_of(plain) == std::string::npos && text.front() != '~') return text;
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return printable(out + "'");
}

std::string as_command(const Proposal& act) {
    const Form form = form_of(act.act);
    std::string out;
    const auto say = [&](const std::string& word) { out += (out.empty() ? "" : " ") + word; };
    if (act.act != Act::same) say(std::string("fettle ") + form.command);
    for (const std::string& place : form.by_place)
        for (const Argument& a : act.arguments)
            if (a.name == place) say(shown(a));
    for (const Argument& a : act.arguments)
        if (std::find(form.by_place.begin(), form.by_place.end(), a.name) == form.by_place.end()) say(option(a));
    return out;
}

}  // namespace fettle::app
