#include "cmd_rehearse.h"

#include <fmt/core.h>
#include <unistd.h>

#include "cmd_handover.h"
#include "commands.h"
#include "fettle/show/print.h"
#include "fettle/show/rehearsal.h"

namespace fettle::app {
namespace {

// On a terminal the picture of the run stays in its place, and is drawn over.
class Screen {
public:
    Screen(const Context& context, bool ascii) : context_(context), ascii_(ascii) {}

    bool stays_in_place() const { return context_.say && !context_.json && ::isatty(STDOUT_FILENO) == 1; }

    void show(const rehearse::Told& told) {
        if (const auto* look = std::get_if<rehearse::Looked>(&told)) return draw(*look);
        lines_ = 0;
        const auto* done = std::get_if<rehearse::Done>(&told);
        context_.say(done ? as_typed(*done) : show::told(told));
    }

private:
    static std::string as_typed(const rehearse::Done& done) {
        const Answer a = show::done(done.outcome, as_command);
        return show::harmless(
            "\n$ " + command_of(done) + "\n" +
            (done.at_length ? show::as_text(a, as_command) : show::to_page(a.headline + "\n", a.width)));
    }

    void draw(const rehearse::Looked& look) {
        const bool over = stays_in_place();
        std::string out = over && lines_ > 0 ? fmt::format("\033[{}A\r", lines_) : "\n";
        const auto lines = show::picture(look, ascii_);
        for (const std::string& line : lines) out += line + (over ? "\033[K\n" : "\n");
        lines_ = lines.size();
        context_.say(out);
    }

    const Context& context_;
    const bool ascii_;
    std::size_t lines_ = 0;  // of the picture that stands last on the terminal
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
