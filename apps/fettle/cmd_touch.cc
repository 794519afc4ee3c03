#include "cmd_touch.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>

#include "fettle/base/text.h"
#include "fettle/ready/told.h"
#include "fettle/ready/touch.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

// The need that a person names by its key, its area or its number on the grid; nullptr when none is.
const ready::TouchNeed* named(const std::vector<ready::TouchTest>& tests, const std::string& name) {
    for (const ready::TouchTest& t : tests) {
        for (const ready::TouchNeed& n : t.needs) {
            if (name == n.key || name == n.area || ready::key_part(name) == ready::key_part(n.area) ||
                (tests.size() == 1 && name == std::to_string(n.number)))
                return &n;
        }
    }
    return nullptr;
}

// One line from the terminal, without its end. nullopt at its end.
std::optional<std::string> line_from_person() {
    std::string out;
    for (int c = std::getchar(); c != EOF; c = std::getchar()) {
        if (c == '\n') return out;
        if (out.size() < 200) out += static_cast<char>(c);
    }
    return std::nullopt;
}

void ask_each(const Context& context, const std::vector<ready::TouchTest>& tests, bool ascii,
              std::vector<std::string>& said) {
    for (const ready::TouchTest& t : tests) {
        context.say(fmt::format("Touch test, {}:\n{}\n", t.words, join(ready::draw(t, ascii), "\n")));
        for (const ready::TouchNeed& n : t.needs) {
            context.say(fmt::format("{}  {}: touch it now. a = answers, d = dead, Enter = not tried: ", n.number,
                                    n.area.empty() ? "anywhere" : printable(n.area)));
            const auto answer = line_from_person();
            if (!answer) return;
            const std::string_view word = trim(*answer);
            if (word == "a" || word == "answers") said.push_back(n.key + "=answers");
            if (word == "d" || word == "dead") said.push_back(n.key + "=dead");
        }
    }
}

boost::json::object as_json(const ready::TouchTest& t) {
    boost::json::array needs;
    for (const ready::TouchNeed& n : t.needs)
        needs.push_back({{"number", n.number},
                         {"area", n.area},
                         {"key", n.key},
                         {"wanted_by", n.wanted_by},
                         {"state", n.state.empty() ? "not-tried" : n.state},
                         {"placed", n.placed},
                         {"from", {n.cells.left, n.cells.top}},
                         {"to", {n.cells.right, n.cells.bottom}}});
    return {{"box", t.box}, {"columns", t.columns}, {"rows", t.rows}, {"by_words", t.by_words}, {"needs", needs}};
}

}  // namespace

Result<Answer> ready_touch(Context& context, const ReadyTouchOptions& options) {
    auto run = load_job_and_family(context, options.job);
    if (!run) return pass(run);
    ready::Told told = run->job.answers;
    auto tests = ready::touch_tests(run->family, told);
    std::vector<std::string> said = options.said;
    const bool person = said.empty() && !context.json && ::isatty(STDIN_FILENO) == 1 && ::isatty(STDOUT_FILENO) == 1;
    if (person) ask_each(context, tests, options.ascii, said);
    Answer a;
    a.job = run->number;
    for (const std::string& text : said) {
        const auto eq = text.find('=');
        if (eq == std::string::npos)
            return usage_error("answer-not-key-value", printable(text), "no area and value",
                               "say AREA=answers or AREA=dead");
        const ready::TouchNeed* need = named(tests, text.substr(0, eq));
        if (!need) {
            std::vector<std::string> keys;
            for (const auto& t : tests)
                for (const auto& n : t.needs) keys.push_back(n.area.empty() ? n.key : n.area);
            return usage_error(
                "touch-area-unknown", printable(text.substr(0, eq)), "no later ask wants a touch there",
                keys.empty() ? "nothing on the screen need be touched" : "use one of: " + join(keys, ", "));
        }
        const std::string value = text.substr(eq + 1);
        if (auto ok = ready::check_answer(run->family, need->key, value); !ok) return pass(ok);
        a.entries.push_back({"answered", {{"key", need->key}, {"value", value}}});
        told[need->key] = value;
    }
    tests = ready::touch_tests(run->family, told);
    int open = 0, dead = 0;
    boost::json::array drawn;
    for (const ready::TouchTest& t : tests) {
        a.text += fmt::format("{}\n{}\n", t.words, join(ready::draw(t, options.ascii), "\n"));
        for (const ready::TouchNeed& n : t.needs) {
            open += n.state.empty();
            dead += n.state == "dead";
            const std::string where = n.area.empty() ? "anywhere" : n.area;
            if (n.state.empty())
                a.judgement.add(
                    {"touch-not-tried", Verdict::cant_say, "not tried: touch at " + where, n.key, "not tried"});
            else
                a.judgement.add({n.state == "dead" ? "touch-dead" : "touch-answers",
                                 n.state == "dead" ? Verdict::halt : Verdict::fit,
                                 "touch at " + where + (n.state == "dead" ? " is dead" : " answers"), n.key, "typed"});
        }
        drawn.push_back(as_json(t));
    }
    // No script: nothing is known of what it asks for, which is not the same as that it asks for nothing.
    const bool unknown = run->family.script.empty();
    if (unknown)
        a.judgement.add(
            {"asks-not-known", Verdict::cant_say,
             "the step script is not known, and so not where a touch will be asked for: try the whole screen", "asks",
             "family file"});
    a.level = run->level();
    a.headline =
        unknown         ? "Can't say which areas of a screen will be asked for."
        : tests.empty() ? "Nothing on a screen need be touched in this family's script."
        : dead > 0      ? fmt::format("{} of the areas that will be asked for {} dead.", dead, dead == 1 ? "is" : "are")
        : open > 0      ? fmt::format("{} {} still to try: touch it now.", open, open == 1 ? "area is" : "areas are")
                        : "Every area that will be asked for answers.";
    if (dead > 0) a.text += "Whether there is another way in is said by: fettle ready check " + run->number + "\n";
    a.reasons_in_text = !unknown;
    a.data["screens"] = std::move(drawn);
    return a;
}

}  // namespace fettle::app
