#include "cmd_touch.h"

#include <fmt/core.h>
#include <unistd.h>

#include <cstdio>
#include <optional>

#include "fettle/base/text.h"
#include "fettle/show/touch.h"

namespace fettle::app {
namespace {

// One line from the terminal, without its end. nullopt at its end.
std::optional<std::string> line_from_person() {
    std::string out;
    for (int c = std::getchar(); c != EOF; c = std::getchar()) {
        if (c == '\n') return out;
        if (out.size() < 200) out += static_cast<char>(c);
    }
    return std::nullopt;
}

std::vector<std::string> ask_each(const Context& context, const std::vector<ready::TouchTest>& screens, bool ascii) {
    std::vector<std::string> said;
    for (const ready::TouchTest& t : screens) {
        context.say("Touch test, " + show::touch_page(t, ascii));
        for (const ready::TouchNeed& n : t.needs) {
            context.say(fmt::format("{}  {}: touch it now. a = answers, d = dead, Enter = not tried: ", n.number,
                                    n.area.empty() ? "anywhere" : printable(n.area)));
            const auto answer = line_from_person();
            if (!answer) return said;
            const std::string_view word = trim(*answer);
            if (word == "a" || word == "answers") said.push_back(n.key + "=answers");
            if (word == "d" || word == "dead") said.push_back(n.key + "=dead");
        }
    }
    return said;
}

}  // namespace

Result<Answer> ready_touch(Context& context, const ReadyTouchOptions& options) {
    auto touched = workshop::touch_screens(context, options.ask);
    if (!touched) return pass(touched);
    const bool person =
        options.ask.said.empty() && !context.json && ::isatty(STDIN_FILENO) == 1 && ::isatty(STDOUT_FILENO) == 1;
    if (person) {
        touched = workshop::touch_screens(context, {touched->job, ask_each(context, touched->screens, options.ascii)});
        if (!touched) return pass(touched);
    }
    return show::touched(*touched, options.ascii);
}

}  // namespace fettle::app
