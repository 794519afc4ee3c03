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
        case Act::identify: return {"identify", {"label"}};
        case Act::read_faults: return {"link faults", {}};
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
        case Act::check_sheet: return {"handover check", {"file"}};
        case Act::rehearse: return {"rehearse", {}};
    }
    return {"", {}};
}

// A word to fill in is shown as it is: "NAME", "KEY=VALUE".
std::string shown(const Argument& a) {
    return a.to_fill_in ? printable(a.value) : shell_word(a.value);
}

std::string line_of(const Form& form, const std::vector<Argument>& arguments) {
    std::string out = std::string("fettle ") + form.command;
    for (const std::string& place : form.by_place)
        for (const Argument& a : arguments)
            if (a.name == place) out += " " + shown(a);
    for (const Argument& a : arguments) {
        if (std::find(form.by_place.begin(), form.by_place.end(), a.name) != form.by_place.end()) continue;
        out += " --" + a.name;
        if (!a.value.empty()) out += " " + shown(a);
    }
    return out;
}

// Of what a rehearsal did: some of it is nothing that an answer ever proposes.
struct FormOfDone {
    Form operator()(const workshop::TakenIn*) const { return form_of(Act::open_job); }
    Form operator()(const workshop::Shelving*) const { return form_of(Act::add_to_shelf); }
    Form operator()(const workshop::Identified*) const { return form_of(Act::identify); }
    Form operator()(const workshop::BoxesRead*) const { return {"link read", {}}; }
    Form operator()(const rehearse::NoAnswer&) const { return {"link read", {}}; }
    Form operator()(const workshop::MemoryRead*) const { return form_of(Act::read_faults); }
    Form operator()(const workshop::Planned*) const { return form_of(Act::plan); }
    Form operator()(const workshop::LaidCard*) const { return form_of(Act::lay_card); }
    Form operator()(const workshop::AuditedCard*) const { return form_of(Act::audit_card); }
    Form operator()(const workshop::Answered*) const { return form_of(Act::answer); }
    Form operator()(const workshop::ReadyChecked*) const { return form_of(Act::check_ready); }
    Form operator()(const workshop::Accepted*) const { return form_of(Act::accept); }
    Form operator()(const workshop::Started*) const { return form_of(Act::watch); }
    Form operator()(const workshop::Mended*) const { return form_of(Act::mend); }
    Form operator()(const workshop::AsLeft*) const { return form_of(Act::after); }
    Form operator()(const workshop::FaultsKept*) const { return {"faults", {"job"}}; }
    Form operator()(const workshop::Proved*) const { return form_of(Act::prove); }
    Form operator()(const workshop::ReturnedThing*) const { return {"job return", {"job", "id"}}; }
    Form operator()(const workshop::EndDone*) const { return form_of(Act::open_points); }
    Form operator()(const workshop::HandedOver*) const { return {"handover make", {"job"}}; }
    Form operator()(const workshop::SheetChecked*) const { return form_of(Act::check_sheet); }
};

}  // namespace

std::string shell_word(const std::string& text) {
    constexpr const char* plain = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_./+:=,@~%";
    if (!text.empty() && text.find_first_not_of(plain) == std::string::npos && text.front() != '~') return text;
    std::string out = "'";
    for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return printable(out + "'");
}

std::string as_command(const Proposal& act) {
    return line_of(form_of(act.act), act.arguments);
}

std::string command_of(const rehearse::Done& done) {
    return line_of(std::visit(FormOfDone{}, done.outcome), done.said);
}

}  // namespace fettle::app
