#include "fettle/workshop/touch_screens.h"

#include "fettle/base/text.h"
#include "fettle/ready/told.h"
#include "fettle/workshop/ready_job.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// By its key, its area or its number on the grid; nullptr when nothing has that name.
const ready::TouchNeed* named(const std::vector<ready::TouchTest>& tests, const std::string& name) {
    for (const ready::TouchTest& t : tests)
        for (const ready::TouchNeed& n : t.needs)
            if (name == n.key || name == n.area || ready::key_part(name) == ready::key_part(n.area) ||
                (tests.size() == 1 && name == std::to_string(n.number)))
                return &n;
    return nullptr;
}

tl::unexpected<Error> no_such_area(const std::vector<ready::TouchTest>& tests, const std::string& name) {
    std::vector<std::string> areas;
    for (const ready::TouchTest& t : tests)
        for (const ready::TouchNeed& n : t.needs) areas.push_back(n.area.empty() ? n.key : n.area);
    return usage_error("touch-area-unknown", printable(name), "no later ask wants a touch there",
                       areas.empty() ? "nothing on the screen need be touched" : "use one of: " + join(areas, ", "));
}

// No script: nothing is known of what it asks for, which is not the same as that it asks for nothing.
void judge(Touched& out) {
    for (const ready::TouchTest& t : out.screens) {
        for (const ready::TouchNeed& n : t.needs) {
            const std::string touch = "touch at " + (n.area.empty() ? std::string("anywhere") : n.area);
            out.judgement.add(
                n.state.empty()
                    ? Reason{"touch-not-tried", Verdict::cant_say, "not tried: " + touch, n.key, "not tried"}
                : n.state == "dead" ? Reason{"touch-dead", Verdict::halt, touch + " is dead", n.key, "typed"}
                                    : Reason{"touch-answers", Verdict::fit, touch + " answers", n.key, "typed"});
        }
    }
    if (!out.script_known)
        out.judgement.add(
            {"asks-not-known", Verdict::cant_say,
             "the step script is not known, and so not where a touch will be asked for: try the whole screen", "asks",
             "family file"});
}

}  // namespace

Result<Touched> touch_screens(const Workshop& shop, const TouchRequest& request) {
    const auto run = load_job_and_family(shop, request.job);
    if (!run) return pass(run);
    ready::Told told = run->job.answers;
    const auto tests = ready::touch_tests(run->family, told);
    std::vector<NewEntry> entries;
    for (const std::string& text : request.said) {
        const auto said = key_and_value(text, "say AREA=answers or AREA=dead");
        if (!said) return pass(said);
        const ready::TouchNeed* need = named(tests, said->first);
        if (!need) return no_such_area(tests, said->first);
        if (auto ok = ready::check_answer(run->family, need->key, said->second); !ok) return pass(ok);
        entries.push_back(answered_entry(need->key, said->second));
        told[need->key] = said->second;
    }
    if (!entries.empty())
        if (auto kept = append_entries(shop, run->number, entries); !kept) return pass(kept);
    Touched out{run->number, run->level(), ready::touch_tests(run->family, told), !run->family.script.empty(), {}};
    judge(out);
    return out;
}

}  // namespace fettle::workshop
