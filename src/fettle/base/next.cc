#include "fettle/base/next.h"

#include <algorithm>

namespace fettle {
namespace {

// Of the shop's families, shelf and devices: no job's number belongs in them.
bool is_of_a_job(Act act) {
    switch (act) {
        case Act::open_job:
        case Act::list_jobs:
        case Act::draft_family:
        case Act::check_family:
        case Act::import_family:
        case Act::add_family:
        case Act::add_to_shelf:
        case Act::verify_shelf:
        case Act::tidy_shelf:
        case Act::show_release:
        case Act::list_devices:
        case Act::find_boxes:
        case Act::check_sheet:
        case Act::rehearse:
        case Act::same: return false;
        default: return true;
    }
}

}  // namespace

std::string_view name_of(Act act) {
    switch (act) {
        case Act::open_job: return "open-job";
        case Act::list_jobs: return "list-jobs";
        case Act::show_job: return "show-job";
        case Act::note: return "note";
        case Act::consent: return "consent";
        case Act::open_points: return "open-points";
        case Act::draft_family: return "draft-family";
        case Act::learn_family: return "learn-family";
        case Act::check_family: return "check-family";
        case Act::import_family: return "import-family";
        case Act::add_family: return "add-family";
        case Act::return_thing: return "return-thing";
        case Act::identify: return "identify";
        case Act::find_boxes: return "find-boxes";
        case Act::read_boxes: return "read-boxes";
        case Act::read_faults: return "read-faults";
        case Act::keep_faults: return "keep-faults";
        case Act::add_to_shelf: return "add-to-shelf";
        case Act::verify_shelf: return "verify-shelf";
        case Act::tidy_shelf: return "tidy-shelf";
        case Act::show_release: return "show-release";
        case Act::plan: return "plan";
        case Act::lay_card: return "lay-card";
        case Act::audit_card: return "audit-card";
        case Act::list_devices: return "list-devices";
        case Act::gauge_card: return "gauge-card";
        case Act::check_ready: return "check-ready";
        case Act::answer: return "answer";
        case Act::accept: return "accept";
        case Act::test_touch: return "test-touch";
        case Act::read_supply: return "read-supply";
        case Act::watch: return "watch";
        case Act::mark: return "mark";
        case Act::after: return "after";
        case Act::prove: return "prove";
        case Act::mend: return "mend";
        case Act::make_sheet: return "make-sheet";
        case Act::check_sheet: return "check-sheet";
        case Act::rehearse: return "rehearse";
        case Act::same: return "same";
    }
    return "";
}

Argument given(std::string name, std::string value) {
    return {std::move(name), std::move(value), false};
}

Argument wanted(std::string name, std::string word) {
    return {std::move(name), std::move(word), true};
}

Argument flag(std::string name) {
    return {std::move(name), {}, false};
}

Proposal propose(Act act, std::vector<Argument> arguments) {
    return {act, std::move(arguments)};
}

Proposal with(Argument argument) {
    return {Act::same, {std::move(argument)}};
}

const Proposal* Next::proposal() const {
    for (const Part& p : parts_)
        if (const auto* act = std::get_if<Proposal>(&p); act && act->act != Act::same) return act;
    return nullptr;
}

std::string Next::words(const std::function<std::string(const Proposal&)>& shown) const {
    std::string out;
    for (const Part& p : parts_) {
        if (const auto* text = std::get_if<std::string>(&p)) {
            out += *text;
            continue;
        }
        const Proposal& act = std::get<Proposal>(p);
        if (shown) {
            out += shown(act);
            continue;
        }
        if (act.act == Act::same) {
            for (const Argument& a : act.arguments) out += a.name + (a.value.empty() ? "" : " " + a.value);
            continue;
        }
        out += name_of(act.act);
        std::string values;
        for (const Argument& a : act.arguments) {
            const std::string& said = a.value.empty() ? a.name : a.value;
            values += (values.empty() ? "" : ", ") + said;
        }
        if (!values.empty()) out += " (" + values + ")";
    }
    return out;
}

void Next::name_job(const std::string& number) {
    for (Part& p : parts_) {
        auto* act = std::get_if<Proposal>(&p);
        if (!act || !is_of_a_job(act->act)) continue;
        auto& a = act->arguments;
        const auto named = std::find_if(a.begin(), a.end(), [](const Argument& x) { return x.name == "job"; });
        if (named == a.end())
            a.insert(a.begin(), job(number));
        else if (named->to_fill_in)
            *named = job(number);
    }
}

}  // namespace fettle
