// Staying with a run: draws it anew, takes the supply along, calls for hands, keeps the machine awake and beats for
// those who listen. Everything it knows is in the journal and the recorded series; killed at any instant it may be
// begun again.
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <thread>

#include "cmd_watch.h"
#include "fettle/alarm/awake.h"
#include "fettle/alarm/calls.h"
#include "fettle/alarm/heart.h"
#include "fettle/alarm/ring.h"
#include "fettle/base/text.h"
#include "fettle/workshop/run_supply.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

using Steady = std::chrono::steady_clock;

double steady_s() {
    return std::chrono::duration<double>(Steady::now().time_since_epoch()).count();
}

// Redraws in place: one write a frame, each line cleared to its end, so that nothing flickers. Without a terminal only
// what has changed is printed.
class Frame {
public:
    explicit Frame(bool terminal) : terminal_(terminal) {}
    void show(const std::vector<std::string>& lines, const std::string& sentence) {
        if (!terminal_) {
            if (sentence != last_) std::printf("%s\n", sentence.c_str());
            last_ = sentence;
            std::fflush(stdout);
            return;
        }
        std::string out;
        if (drawn_ > 0) out += fmt::format("\033[{}A\r", drawn_);
        for (const std::string& l : lines) out += l + "\033[K\n";
        out += "\033[J";
        drawn_ = lines.size();
        std::fwrite(out.data(), 1, out.size(), stdout);
        std::fflush(stdout);
    }
    void clear() {
        if (terminal_ && drawn_ > 0) std::printf("\033[%zuA\r\033[J", drawn_);
        drawn_ = 0;
        std::fflush(stdout);
    }

private:
    bool terminal_;
    std::size_t drawn_ = 0;
    std::string last_;
};

alarm::Means means_of(const WatchOptions& o) {
    alarm::Means m;
    const auto quiet = [&](const char* name) {
        return std::find(o.quiet.begin(), o.quiet.end(), name) != o.quiet.end();
    };
    m.bell = !quiet("bell");
    m.notice = !quiet("notice");
    m.spoken = !quiet("spoken");
    m.hook = o.hook;
    return m;
}

std::filesystem::path beats_folder(const Context& context) {
    return context.home / "beats";
}

NewEntry called_entry(const alarm::Call& call, const alarm::Rung& rung) {
    boost::json::array by, failed;
    for (const std::string& m : rung.by) by.push_back(boost::json::string(m));
    for (const std::string& m : rung.failed) failed.push_back(boost::json::string(m));
    return {"called", {{"key", call.key}, {"rung", call.rung}, {"words", call.words}, {"by", by}, {"failed", failed}}};
}

std::vector<std::string> page(const Drawn& d, const std::vector<std::string>& notes, std::size_t width) {
    std::vector<std::string> lines = d.lines;
    for (const Reason& r : d.where.judgement.reasons) {
        if (r.verdict == Verdict::fit) continue;
        std::string text = printable(fmt::format("{}: {}", words(r.verdict), r.text));
        while (text.size() > width) {
            auto cut = text.rfind(' ', width);
            if (cut == std::string::npos || cut == 0) cut = width;
            lines.push_back(text.substr(0, cut));
            text = "  " + std::string(trim(text.substr(cut)));
        }
        lines.push_back(text);
    }
    lines.insert(lines.end(), notes.begin(), notes.end());
    return lines;
}

// Marks of another terminal are seen at once; nothing is kept here that a kill could lose. A journal that cannot be
// read for now ends no watch: it goes on with what it knew, and says so.
std::string look_again(const Context& context, JobRun& run) {
    auto job = load_job(context, run.number);
    if (!job) return printable(shortened("the journal cannot be read now: " + job.error().problem));
    run.job = std::move(*job);
    return {};
}

}  // namespace

Result<bool> follow_run(Context& context, JobRun& run, const WatchOptions& options) {
    const watch::StripStyle style{std::clamp(options.width, 48, 400), options.ascii, true};
    const bool terminal = ::isatty(STDOUT_FILENO) == 1 && !context.json;
    Frame frame(terminal);
    auto opened = RunSupply::open(context, run, options.supply, options.listen);
    if (!opened) return pass(opened);
    RunSupply& supply = **opened;
    const watch::CallRule rule{60 * options.lead_min, options.certainty};
    alarm::StayAwake awake;
    alarm::Heart heart(beats_folder(context), run.number);
    alarm::Ringer ringer(means_of(options));
    const SystemClock machine;  // its own, also in a rehearsal
    alarm::ClockJumps clocks(machine.now(), steady_s());
    std::string journal_says, told;
    while (true) {
        const UnixMs now = context.clock->now();
        std::vector<NewEntry> entries;
        if (const double jump = clocks.jumped(machine.now(), steady_s()); jump != 0)
            entries.push_back(
                {"note",
                 {{"text", fmt::format("the watch's clock went {} by {} at once: the machine slept, or its "
                                       "clock was set; nothing was seen meanwhile",
                                       jump > 0 ? "on" : "back", human_duration(std::abs(jump)))}}});
        for (const ready::Breach& b : supply.take()) {
            const std::string said = breach_words(b);
            ringer.ring(run.number, {"hold:" + b.hold, 0, true, said});
            if (!terminal) std::printf("%s\n", printable(said).c_str());
        }
        const Drawn d = draw_run(run, run.job.runs.back(), now, style, {supply.samples(), rule});
        alarm::CallsMade made;
        for (const book::CallMade& c : run.job.runs.back().calls) made[c.key] = {c.rung, c.at};
        if (const auto call = alarm::call_due(d.where, made, now); call && run.job.is_open_run()) {
            entries.push_back(called_entry(*call, ringer.ring(run.number, *call)));
        }
        if (!entries.empty()) {
            if (auto kept = append_entries(context, run.number, entries); !kept)
                journal_says = "not kept in the journal: " + kept.error().problem;
        }
        heart.beat();
        ringer.tidy();
        std::vector<std::string> notes;
        if (!awake.held())
            notes.push_back("This machine may go to sleep: nothing here can keep it awake. Set it to stay on.");
        for (const std::string& t : supply.troubles()) notes.push_back(t);
        if (!journal_says.empty()) notes.push_back(printable(shortened(journal_says)));
        if (std::string all = join(notes, "\n"); !terminal && all != told) {
            std::printf("%s\n", all.c_str());
            told = std::move(all);
        }
        frame.show(page(d, notes, static_cast<std::size_t>(style.width)), d.where.sentence);
        if (!run.job.is_open_run()) break;
        std::this_thread::sleep_for(std::chrono::seconds(1));
        journal_says = look_again(context, run);
    }
    supply.end();
    heart.stop();
    frame.clear();
    auto job = load_job(context, run.number);
    if (!job) return pass(job);
    run.job = std::move(*job);
    return false;
}

// Looks on while the watch beats; when it hears nothing it alarms by itself, for that is the one thing a silent watch
// cannot do.
Result<Answer> attach_run(Context& context, JobRun& run, const WatchOptions& options) {
    const watch::StripStyle style{std::clamp(options.width, 48, 400), options.ascii, true};
    const bool terminal = ::isatty(STDOUT_FILENO) == 1 && !context.json;
    Frame frame(terminal);
    alarm::Listener listener(options.patience_s);
    alarm::Ringer ringer(means_of(options));
    Answer a;
    a.job = run.number;
    double alarmed_s = -1e9;
    std::string journal_says;
    while (true) {
        const alarm::HeartRead heart = alarm::read_heart(beats_folder(context), run.number);
        const double now_s = steady_s();
        const bool silent = listener.hear(heart.count, now_s) && run.job.is_open_run();
        if (!run.job.is_open_run() || (heart.stopped && !silent && !run.job.is_open_run())) break;
        std::vector<std::string> notes;
        if (!journal_says.empty()) notes.push_back(journal_says);
        if (silent) {
            const std::string words = fmt::format("No sign of life from the watch of job {} for {}. Go to the box.",
                                                  run.number, human_duration(listener.silent_s(now_s)));
            notes.push_back(words);
            if (now_s - alarmed_s >= 30) {
                alarmed_s = now_s;
                ringer.ring(run.number, {"no-heartbeat", 1, true, words});
            }
            if (!terminal) {
                a.headline = words;
                a.judgement.add(
                    {"no-heartbeat", Verdict::cant_say,
                     "the watch that this terminal is attached to has fallen silent: nobody calls for hands",
                     run.number, "heartbeat"});
                a.data["silent_s"] = listener.silent_s(now_s);
                a.data["alarmed"] = true;
                return a;
            }
        }
        if (terminal) {
            const Look look{recorded_supply(context, run.number, run.job.runs.size(), run.job.runs.back()).samples, {}};
            const Drawn d = draw_run(run, run.job.runs.back(), context.clock->now(), style, look);
            frame.show(page(d, notes, static_cast<std::size_t>(style.width)), d.where.sentence);
        }
        ringer.tidy();
        std::this_thread::sleep_for(std::chrono::milliseconds(500));
        journal_says = look_again(context, run);
    }
    frame.clear();
    a.headline = "The run has ended; the watch was heard to its end.";
    a.data["alarmed"] = false;
    return a;
}

Result<Answer> test_call(Context&, const JobRun& run, const WatchOptions& options) {
    const std::string words = "This is a test call for job " + run.number + ".";
    alarm::Ringer ringer(means_of(options));
    const alarm::Rung rung = ringer.ring(run.number, {"test", 0, true, words});
    for (int i = 0; i < 20; ++i) {
        ringer.tidy();
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
    }
    Answer a;
    a.job = run.number;
    a.headline = rung.by.empty() ? "No means of calling works here."
                                 : fmt::format("Called by {}. Was it heard where you will be?", join(rung.by, ", "));
    a.text =
        fmt::format("Say so: fettle ready answer {0} call=heard   (or call=not-heard, or call=staying)\n", run.number);
    if (!rung.failed.empty())
        a.judgement.add({"call-means-missing", Verdict::mind,
                         fmt::format("cannot be used here: {}", join(rung.failed, ", ")), run.number, "tried now"});
    if (rung.by.empty())
        a.judgement.add({"no-call-works", Verdict::cant_say,
                         "nothing here can call for hands: stay at the box, or give a command of your own (--hook)",
                         run.number, "tried now"});
    boost::json::array by, failed;
    for (const std::string& m : rung.by) by.push_back(boost::json::string(m));
    for (const std::string& m : rung.failed) failed.push_back(boost::json::string(m));
    a.data["by"] = std::move(by);
    a.data["failed"] = std::move(failed);
    return a;
}

}  // namespace fettle::app
