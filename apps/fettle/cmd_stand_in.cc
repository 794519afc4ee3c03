#include "cmd_stand_in.h"

#include <fmt/core.h>
#include <poll.h>
#include <unistd.h>

#include "fettle/base/text.h"
#include "fettle/show/stand_in.h"
#include "typed_list.h"

namespace fettle::app {
namespace {

// A typed line, if one is there; never waits.
std::string typed_line() {
    std::string line;
    for (char c = 0; line.size() < 128;) {  // one by one: the line after it is the next answer
        pollfd p{STDIN_FILENO, POLLIN, 0};
        if (::poll(&p, 1, 0) <= 0 || (p.revents & POLLIN) == 0 || ::read(STDIN_FILENO, &c, 1) != 1 || c == '\n') break;
        line += c;
    }
    return std::string(trim(line));
}

}  // namespace

Result<Answer> stand_in(Context& context, const StandInOptions& options) {
    workshop::StandInRequest request = options.ask;
    request.clears = options.clears == "all"  ? standin::Clears::only_all
                     : options.clears == "no" ? standin::Clears::no
                                              : standin::Clears::each;
    request.history = words_between_commas(options.history);
    request.typed = typed_line;
    if (!context.json) {
        request.opened = [](const workshop::StandInDoors& d) { fmt::print(stderr, "{}", show::doors_as_text(d)); };
        request.seen = [](const standin::Event& e) { fmt::print(stderr, "{}", show::event_line(e)); };
    }
    const auto stood_in = workshop::stand_in(context, request);
    if (!stood_in) return pass(stood_in);
    return show::stood_in(*stood_in);
}

}  // namespace fettle::app
