// What stays with a run on a terminal: a tick a second from the workshop, drawn in place.
#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <thread>

#include "cmd_watch.h"
#include "fettle/base/text.h"
#include "fettle/show/watch.h"
#include "fettle/workshop/attach_to_run.h"
#include "fettle/workshop/stay_with_run.h"
#include "terminal.h"

namespace fettle::app {
namespace {

// Where no terminal is: one line for what has changed.
class Lines {
public:
    void show(const workshop::StayWithRun::Tick& tick) {
        for (const Breach& b : tick.breaches) say(printable(workshop::breach_words(b)));
        if (std::string all = join(tick.troubles, "\n"); all != troubles_) {
            say(all);
            troubles_ = std::move(all);
        }
        if (tick.where.sentence != sentence_) say(tick.where.sentence);
        sentence_ = tick.where.sentence;
        std::fflush(stdout);
    }

private:
    static void say(const std::string& text) { std::printf("%s\n", text.c_str()); }
    std::string troubles_, sentence_;
};

// In one piece.
void write(const std::string& text) {
    std::fwrite(text.data(), 1, text.size(), stdout);
    std::fflush(stdout);
}

alarm::Means means_of(const WatchOptions& o) {
    const auto used = [&](const char* name) {
        return std::find(o.quiet.begin(), o.quiet.end(), name) == o.quiet.end();
    };
    return {used("bell"), used("notice"), used("spoken"), o.hook};
}

}  // namespace

Result<workshop::RunLook> stay_with_run(const Context& context, const WatchOptions& options) {
    const auto run = workshop::StayWithRun::begin(
        context,
        {options.job, options.supply, options.listen, means_of(options), {60 * options.lead_min, options.certainty}});
    if (!run) return pass(run);
    const bool terminal = on_terminal(context);
    Frame frame;
    Lines lines;
    while (true) {
        const auto tick = (*run)->tick();
        if (terminal)
            write(frame.drawn(show::tick_lines((*run)->follow(), tick.where, tick.troubles, style_of(options))));
        else if (!context.json)
            lines.show(tick);
        if (tick.over) break;
        std::this_thread::sleep_for(std::chrono::seconds(1));
    }
    write(frame.cleared());
    return (*run)->end();
}

Result<Answer> attach_to_run(const Context& context, const WatchOptions& options) {
    const auto run = workshop::AttachToRun::begin(context, {options.job, options.patience_s, means_of(options)});
    if (!run) return pass(run);
    const bool terminal = on_terminal(context);
    Frame frame;
    while (true) {
        const auto tick = (*run)->tick();
        if (tick.over) break;
        if (tick.silent_s && !terminal) return show::watch_silent((*run)->job(), tick);
        if (terminal) {
            std::vector<std::string> notes;
            for (const std::string& note : {tick.trouble, tick.words})
                if (!note.empty()) notes.push_back(note);
            const watch::Where where = (*run)->where();
            write(frame.drawn(show::tick_lines((*run)->follow(), where, notes, style_of(options))));
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(500));
    }
    write(frame.cleared());
    return show::watch_heard_to_end();
}

Result<Answer> test_call(const Context& context, const WatchOptions& options) {
    const auto called = workshop::test_call(context, options.job, means_of(options));
    if (!called) return pass(called);
    return show::test_called(*called);
}

}  // namespace fettle::app
