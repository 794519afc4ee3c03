// fettle: takes a unit from take-in to a sealed handover sheet. This file reads as what happens to every command: it is
// parsed, run and printed. What is kept of it in a job's journal is the act's own business.
#include <fmt/core.h>
#include <malloc.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <clocale>
#include <csignal>
#include <cstdio>
#include <exception>
#include <memory>
#include <string>
#include <string_view>

#include "cli.h"
#include "commands.h"
#include "fettle/base/half_done.h"
#include "fettle/base/text.h"
#include "fettle/rehearse/home_clock.h"
#include "fettle/show/print.h"
#include "fettle/workshop/machine_uptime.h"

namespace {

using namespace fettle;
using namespace fettle::app;

// True when everything reached standard output; a full disk behind a pipe must not look like success.
bool say(const std::string& text) {
    return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0;
}

int fail(const std::string& command, Error error, bool json) {
    error.place = shortened(error.place.words(as_command));
    error.problem = shortened(error.problem);
    if (json) say(show::as_json(command, error, as_command));
    std::fprintf(stderr, "fettle%s%s: %s\n", command.empty() ? "" : " ", command.c_str(),
                 printable(error.message(as_command)).c_str());
    return show::exit_code(error);
}

// A progress line that overwrites itself, at most ten times a second, cleared before anything else is printed.
class ProgressLine {
public:
    void show(const char* what, std::uint64_t done, std::uint64_t total) {
        const auto now = std::chrono::steady_clock::now();
        if (what != what_) {
            what_ = what;
            began_ = now;
        }
        if (drawn_ && now - last_ < std::chrono::milliseconds(100)) return;
        last_ = now;
        const double seconds = std::chrono::duration<double>(now - began_).count();
        std::string line = fmt::format("{}: {}", what, human_bytes(done));
        if (total > 0) line += fmt::format(" of {}", human_bytes(total));
        if (seconds > 0.5 && done > 0) {
            const double rate = static_cast<double>(done) / seconds;
            line += fmt::format(", {}/s", human_bytes(static_cast<std::uint64_t>(rate)));
            if (total > done)
                line += fmt::format(", {} left", human_duration(static_cast<double>(total - done) / rate));
        }
        std::fprintf(stderr, "\r\033[K%s", line.c_str());
        drawn_ = true;
    }
    void clear() {
        if (drawn_) std::fprintf(stderr, "\r\033[K");
        drawn_ = false;
    }

private:
    const char* what_ = nullptr;
    bool drawn_ = false;
    std::chrono::steady_clock::time_point began_, last_;
};

void print_timings(std::chrono::steady_clock::time_point began) {
    rusage use{};
    getrusage(RUSAGE_SELF, &use);
    const double wall = std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
    const auto seconds = [](const timeval& t) {
        return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    std::fprintf(stderr, "timings: wall %.3f s, user %.3f s, system %.3f s, peak memory %ld KiB\n", wall,
                 seconds(use.ru_utime), seconds(use.ru_stime), use.ru_maxrss);
}

int run(Invocation& call) {
    const SystemClock system;
    const std::unique_ptr<Clock> rehearsed = rehearse::home_clock(call.context.home);  // its home has its own time
    call.context.clock = rehearsed ? rehearsed.get() : &system;
    if (!rehearsed) call.context.uptime = workshop::machine_uptime;
    call.context.examples = example_families_folder();
    call.context.terminal = !call.context.json && ::isatty(STDERR_FILENO) == 1;
    ProgressLine line;
    call.context.progress = [&](const char* what, std::uint64_t done, std::uint64_t total) {
        if (call.context.terminal) line.show(what, done, total);
    };
    call.context.say = [&](const std::string& text) {
        line.clear();
        if (!call.context.json) say(text);
    };
    const Result<Answer> answer = call.run(call.context);
    line.clear();
    if (!answer) return fail(call.command, answer.error(), call.context.json);

    if (!say(!answer->document.empty() ? answer->document
             : call.context.json       ? show::as_json(call.command, *answer, as_command)
                                       : show::as_text(*answer, as_command))) {
        if (errno == EPIPE) return 4;  // whoever read it has seen enough; not ours to explain
        std::fprintf(stderr, "fettle %s: standard output cannot be written. Next: make room, then ask again.\n",
                     call.command.c_str());
        return 4;
    }
    if (answer->bad_input)
        std::fprintf(stderr, "fettle %s: %s Next: see what the answer lists, and put it right at its source.\n",
                     call.command.c_str(), printable(shortened(answer->headline)).c_str());
    return show::exit_code(*answer);
}

}  // namespace

int main(int argc, char** argv) {
    std::setlocale(LC_CTYPE, "C.UTF-8");  // for file names in archives; nothing wider, or decimal points become commas
    std::signal(SIGPIPE, SIG_IGN);
    std::signal(SIGXFSZ, SIG_IGN);  // a file grown to what is allowed is an error to tell, not an end
    // What was freed is kept for the next piece: asking the kernel for it again and again is 4 % of an intake.
    ::mallopt(M_MMAP_THRESHOLD, 32 << 20);
    ::mallopt(M_TRIM_THRESHOLD, 256 << 20);
    clear_away_when_ended();
    const auto began = std::chrono::steady_clock::now();
    try {
        Parsed parsed = parse_command_line(argc, argv);
        if (const int* code = std::get_if<int>(&parsed)) {  // help, version
            if (*code != 0 || (std::fflush(stdout) == 0 && std::ferror(stdout) == 0)) return *code;
            std::fprintf(stderr, "fettle: standard output cannot be written. Next: make room, then ask again.\n");
            return 4;
        }
        if (const Refused* refused = std::get_if<Refused>(&parsed))
            return fail(refused->command, refused->error, refused->json);
        Invocation& call = std::get<Invocation>(parsed);
        const int code = run(call);
        if (call.timings) print_timings(began);
        return code;
    } catch (const std::exception& e) {
        const bool json = std::any_of(argv, argv + argc, [](const char* a) { return std::string_view(a) == "--json"; });
        const Error defect{ErrorKind::outside, "inner-rule-broken", "",
                           std::string("an inner rule was broken: ") + e.what(),
                           "report it: this is a defect in Fettle; nothing half-done was kept"};
        return fail("", defect, json);
    }
}
