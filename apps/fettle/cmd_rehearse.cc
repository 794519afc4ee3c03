#include "cmd_rehearse.h"

#include "cmd_handover.h"
#include "commands.h"
#include "fettle/base/text.h"
#include "fettle/show/print.h"
#include "fettle/show/rehearsal.h"
#include "terminal.h"

namespace fettle::app {
namespace {

// On a terminal the picture of the run stays in its place, and is drawn over.
class Screen {
public:
    Screen(const Context& context, bool ascii) : context_(context), ascii_(ascii) {}

    bool stays_in_place() const { return context_.say && on_terminal(context_); }

    void show(const rehearse::Told& told) {
        if (const auto* look = std::get_if<rehearse::Looked>(&told)) return draw(*look);
        frame_.leave();
        const auto* done = std::get_if<rehearse::Done>(&told);
        context_.say(done ? as_typed(*done) : show::told(told));
    }

private:
    static std::string as_typed(const rehearse::Done& done) {
        const Answer a = show::done(done.outcome, as_command);
        return show::harmless(
            "\n$ " + as_command(done.act()) + "\n" +
            (done.at_length ? show::as_text(a, as_command) : show::to_page(a.headline + "\n", a.width)));
    }

    void draw(const rehearse::Looked& look) {
        const auto lines = show::picture(look, ascii_);
        if (!stays_in_place()) return context_.say("\n" + join(lines, "\n") + "\n");
        context_.say((frame_.stands() ? "" : "\n") + frame_.drawn(lines));
    }

    const Context& context_;
    const bool ascii_;
    Frame frame_;
};

}  // namespace

Result<Answer> rehearse_job(const Context& context, const RehearseOptions& options) {
    Screen screen(context, options.ascii);
    rehearse::Request request = options.ask;
    request.check_with = check_sheet_with;
    request.every_look = screen.stays_in_place();
    if (!context.json) request.tell = [&](const rehearse::Told& told) { screen.show(told); };
    const auto rehearsed = rehearse::rehearse(context, request);
    if (!rehearsed) return pass(rehearsed);
    context.say("\n");
    return show::rehearsed(*rehearsed);
}

}  // namespace fettle::app
