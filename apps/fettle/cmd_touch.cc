#include "cmd_touch.h"

#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/show/touch.h"
#include "terminal.h"

namespace fettle::app {
namespace {

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
    if (options.ask.said.empty() && asks_person(context)) {
        touched = workshop::touch_screens(context, {touched->job, ask_each(context, touched->screens, options.ascii)});
        if (!touched) return pass(touched);
    }
    return show::touched(*touched, options.ascii);
}

}  // namespace fettle::app
