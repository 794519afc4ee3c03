// The commands from the ready check to the sheet, and the rehearsal that goes through all of them.
#include <fmt/format.h>

#include <charconv>

#include "cli_builder.h"
#include "cmd_feed.h"
#include "cmd_handover.h"
#include "cmd_mend.h"
#include "cmd_placard.h"
#include "cmd_promises.h"
#include "cmd_prove.h"
#include "cmd_ready.h"
#include "cmd_rehearse.h"
#include "cmd_touch.h"
#include "cmd_watch.h"

namespace fettle::app {
namespace {

// "90", "90s", "12m" or "1.5h", up to 30 days; the option gets seconds.
CLI::Validator in_seconds() {
    return {[](std::string& text) -> std::string {
                double factor = 1;
                std::string number = text;
                if (!number.empty() && std::string_view("smh").find(number.back()) != std::string_view::npos) {
                    factor = number.back() == 's' ? 1 : number.back() == 'm' ? 60 : 3600;
                    number.pop_back();
                }
                double value = 0;
                const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), value);
                if (error != std::errc() || end != number.data() + number.size() || !(value >= 0) ||
                    !(value * factor <= 2592000))
                    return "\"" + text + "\" is no time of up to 30 days: seconds, or 12m, or 2h";
                text = fmt::format("{}", value * factor);
                return {};
            },
            ""};
}

// The same, or one of two words.
CLI::Validator lasted() {
    return {[](std::string& text) -> std::string {
                return text == "as-marked" || text == "not-known" ? std::string() : in_seconds()(text);
            },
            ""};
}

}  // namespace

void CommandLine::define_ready() {
    CLI::App& ready = group("ready", "may this step start, and can it finish?");
    command<workshop::ReadyRequest>(
        ready, "check", "every precondition and hold, with its value", ready_check,
        [](CLI::App& c, workshop::ReadyRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("--step", o.step, "the first that no run has ended")->type_name("N");
        });
    command<workshop::AnswerRequest>(
        ready, "answer", "what you saw, measured or tried", ready_answer, [](CLI::App& c, workshop::AnswerRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("KEY=VALUE", o.answers, "knob=answers supply.volts=13.5 …")->required();
        });
    command<workshop::AcceptRequest>(
        ready, "accept", "sign for a mind or a can't say; never for a halt", ready_accept,
        [](CLI::App& c, workshop::AcceptRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("CODE", o.code, "the reason's code, or code:where")->required();
            c.add_option("--by", o.by, "who says so")->type_name("NAME")->required();
            c.add_option("--reason", o.reason, "why it may stay as it is")->type_name("TEXT")->required();
            c.add_option("--step", o.step, "of this step of the plan")->type_name("N");
        });
    command<ReadyTouchOptions>(ready, "touch",
                               "the touch test: the screen as a grid with the areas that will be asked for",
                               ready_touch, [](CLI::App& c, ReadyTouchOptions& o) {
                                   c.add_option("J", o.ask.job, "the job's number")->required();
                                   c.add_option("AREA=VALUE", o.ask.said, "\"lower right=answers\" 2=dead …");
                                   c.add_flag("--ascii", o.ascii, "no character beyond ASCII");
                               });
    command<workshop::SupplyRequest>(
        ready, "supply", "read the supply's figures; it is only asked, never set", ready_supply,
        [](CLI::App& c, workshop::SupplyRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("--from", o.from, "scpi://HOST:5025, words://HOST:PORT/V?,I?, a file or pipe of samples, or -")
                ->type_name("SOURCE")
                ->required();
            c.add_option("--for", o.for_s, "listen so many seconds to a pipe")
                ->type_name("S")
                ->check(CLI::Range(0.0, 3600.0));
        });
    command<workshop::GuardRequest>(
        ready, "guard", "while a run is open: watch supply and network, say and record a broken hold at once",
        ready_guard, [](CLI::App& c, workshop::GuardRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("--supply", o.supply, "as for ready supply --from")->type_name("SOURCE");
            c.add_option("--listen", o.listen, "hear other testers on the network; nothing is sent")
                ->type_name("ADDR:PORT");
            c.add_option("--for", o.for_s, "end after so many seconds")
                ->type_name("S")
                ->check(CLI::Range(0.0, 86400.0));
        });
    command<workshop::BreachRequest>(ready, "breach", "a hold is not so any more: recorded with the run", ready_breach,
                                     [](CLI::App& c, workshop::BreachRequest& o) {
                                         c.add_option("J", o.job, "the job's number")->required();
                                         c.add_option("HOLD", o.hold, "doors, lights, key, …")->required();
                                         c.add_option("--says", o.says, "what you saw")->type_name("TEXT");
                                     });
    command<ReadyPlacardOptions>(
        ready, "placard", "what hangs in the windscreen: until when, and what not to touch", ready_placard,
        [](CLI::App& c, ReadyPlacardOptions& o) {
            c.add_option("J", o.ask.job, "the job's number")->required();
            c.add_option("--out", o.out, "NAME.svg or NAME.pdf")->type_name("FILE")->required();
            c.add_option("--by", o.ask.ask_for, "whom to ask for")->type_name("NAME");
            c.add_option("--step", o.ask.step, "of this step of the plan")->type_name("N");
        });
}

void CommandLine::define_run() {
    CLI::App& book = group("book", "the bench book as a whole: how honest past forecasts were");
    command<BookPromisesOptions>(book, "promises", "every promise that came due, scored", book_promises,
                                 [](CLI::App& c, BookPromisesOptions& o) {
                                     c.add_option("--family", o.family, "of this family")->type_name("ID");
                                 });
    command<WatchOptions>(
        app, "watch", "where the run is, what comes next, when hands are needed", watch_run,
        [](CLI::App& c, WatchOptions& o) {
            c.add_option("J", o.job, "the job's number; without it: --all");
            c.add_flag("--start", o.start, "a run begins now");
            c.add_option("--step", o.step, "of this step of the plan")->type_name("N");
            c.add_option("--by", o.by, "who starts")->type_name("NAME");
            c.add_option("--ago", o.ago_s, "with --start: it began so many seconds ago")
                ->type_name("S")
                ->transform(in_seconds());
            c.add_flag("--against-halt", o.against_halt, "begun although ready says no; recorded as such");
            c.add_flag("--once", o.once, "print once, do not stay");
            c.add_option("--svg", o.svg, "the strip as a picture")->type_name("FILE");
            c.add_option("--width", o.width, "columns of the strip")->type_name("N")->capture_default_str();
            c.add_flag("--ascii", o.ascii, "no character beyond ASCII");
            c.add_flag("--stay", o.stay, "stay until the run has ended, also where no terminal is");
            c.add_option("--supply", o.supply, "readings of the supply: scpi://HOST, a file, a pipe or -")
                ->type_name("FROM");
            c.add_option("--listen", o.listen, "hear other testers on the network; listens only")
                ->type_name("ADDR:PORT");
            c.add_flag("--attach", o.attach, "look on from a second terminal; alarms when the watch falls silent");
            c.add_option("--patience", o.patience_s, "seconds of silence until --attach alarms")
                ->type_name("S")
                ->capture_default_str()
                ->check(CLI::Range(1.0, 3600.0));
            c.add_flag("--test-call", o.test_call, "call once by every means: is it heard?");
            c.add_option("--quiet", o.quiet, "a means of calling that is not to be used")
                ->type_name("MEANS")
                ->check(CLI::IsMember({"bell", "notice", "spoken"}));
            c.add_option("--hook", o.hook, "a command of your own for loud calls")->type_name("COMMAND");
            c.add_option("--lead", o.lead_min, "call so many minutes before hands are needed")
                ->type_name("MIN")
                ->capture_default_str()
                ->check(CLI::Range(0.0, 120.0));
            c.add_option("--certainty", o.certainty, "call from this chance on; with --next: that nobody waits")
                ->type_name("P")
                ->capture_default_str()
                ->check(CLI::Range(0.01, 1.0));
            c.add_flag("--all", o.all, "the wall: every open run on one clock");
            c.add_option("--next", o.next, "with --all: when to start this job, or NAME=FROM-TO+HANDS in minutes")
                ->type_name("J");
            c.add_option("--window", o.windows, "with --all: a bench not watched here, NAME=FROM-TO+HANDS in minutes")
                ->type_name("WINDOW");
            c.add_option("--hands", o.hands_min, "with --all: minutes that hands are taken up")
                ->type_name("MIN")
                ->capture_default_str()
                ->check(CLI::Range(0.0, 240.0));
        });
    command<workshop::MarkRequest>(
        app, "mark", "what you see at the box: dark, back, asks, answered, ended …", mark_run,
        [](CLI::App& c, workshop::MarkRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("EVENT", o.event,
                         "an act of the script, or dark, back, restarted, asks, answered, skipped, "
                         "fed, still, ended, broken-off");
            c.add_option("--shows", o.shows, "a text on its screen, word for word")->type_name("TEXT");
            c.add_option("--tally", o.tally, "what the box counts: landed=12,passed_over=26,refused=0,to_come=2")
                ->type_name("COUNTS");
            c.add_option("--with", o.with, "answered: with what; family learn takes it from there")
                ->type_name("HOW")
                ->check(CLI::IsMember({"turn", "press", "touch", "key", "card"}));
            c.add_option("--area", o.area, "answered by a touch: where on the screen")->type_name("AREA");
            c.add_option("--lasted", o.lasted, "how long the run took: 31m, as-marked or not-known")
                ->type_name("TIME")
                ->transform(lasted());
            c.add_option("--by", o.by, "with --lasted: who says so")->type_name("NAME");
            c.add_flag("--undo", o.undo, "take the last one back, also the end of a run");
            c.add_option("--ago", o.ago_s, "it was so many seconds ago")->type_name("S")->transform(in_seconds());
        });
    command<AsLeftOptions>(app, "as-left", "what is installed now, typed", as_left, [](CLI::App& c, AsLeftOptions& o) {
        c.add_option("J", o.job, "the job's number")->required();
        c.add_option("--typed", o.typed, "lines of box, name, version")->type_name("FILE");
        c.add_option("--release", o.release, "the release that the box shows")->type_name("R");
        c.add_flag("--withdraw", o.withdraw, "the list that was typed or read goes again");
        c.add_option("--history", o.history, "with them: the releases that it shows as installed, oldest first")
            ->type_name("R,R");
    });
    command<FaultsOptions>(app, "faults", "the fault memory, typed", faults, [](CLI::App& c, FaultsOptions& o) {
        c.add_option("J", o.ask.job, "the job's number")->required();
        named_option(c, "--when", o.ask.when, workshop::moment_named, "before or after the run; else as the job stands")
            ->check(CLI::IsMember({"before", "after"}));
        named_option(c, "--in", o.ask.place, place_named, "where it was read; else where the job is done")
            ->check(CLI::IsMember({"bench", "vehicle"}));
        c.add_option("--typed", o.typed, "\"B1A4F-13:28 …\", or none when it was read and is empty")->type_name("TEXT");
        c.add_flag("--none-read", o.none_read, "it was not read, which never means none");
    });
    command<ProveOptions>(app, "prove", "is what is installed now what the plan wanted?", prove_job,
                          [](CLI::App& c, ProveOptions& o) {
                              c.add_option("J", o.job, "the job's number")->required();
                              c.add_option("--tried", o.tried, "function N was tried and is good")->type_name("N");
                              c.add_option("--bad", o.tried_bad, "function N was tried and is not")->type_name("N");
                              c.add_flag("--full", o.full, "every piece");
                          });

    command<workshop::MendRequest>(
        app, "mend", "after a run broke, got stuck or failed: what to try first, how often, when to stop", mend_job,
        [](CLI::App& c, workshop::MendRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            named_option(c, "--power", o.power, mend::power_named, "was it without power since the last sign?")
                ->check(CLI::IsMember({"lost", "kept"}));
            named_option(c, "--now", o.now, mend::now_named, "what the box does now, fed")
                ->check(CLI::IsMember({"starts", "recovery", "goes-on", "dark"}));
            c.add_option("--dark-for", o.dark_for_s, "with --now dark: for so long, fed")
                ->type_name("S")
                ->transform(in_seconds());
            c.add_option("--shows", o.shows, "what stands on its screen now, word for word")->type_name("TEXT");
            c.add_option("--release", o.release, "that its version view shows now")->type_name("R");
            c.add_option_function<std::string>(
                 "--supply", [&o](const std::string&) { o.supply_holds = true; }, "it is on a supply now that holds")
                ->check(CLI::IsMember({"holds"}));
            c.add_option("--broke-ago", o.broke_ago_s, "the first sign of trouble was so many seconds ago")
                ->type_name("S")
                ->transform(in_seconds());
            named_option(c, "--tried", o.tried, mend_kind_named, "an attempt that was made")
                ->check(CLI::IsMember(
                    {"wait", "same card", "laid-again card", "recovery card", "power off and on", "other supply"}));
            named_option(c, "--came", o.came, came_named, "what came of it")
                ->check(CLI::IsMember({"done", "nothing", "better", "worse"}));
            c.add_option("--by", o.by, "who says so")->type_name("NAME");
        });

    CLI::App& sheet = group("handover", "the sealed sheet for the customer");
    command<HandoverOptions>(sheet, "make", "make and seal it; refused while something is open", handover,
                             [](CLI::App& c, HandoverOptions& o) {
                                 c.add_option("J", o.job, "the job's number")->required();
                                 c.add_option("--out", o.out, "folder for the sheet")->type_name("DIR")->required();
                             });
    command<HandoverCheckOptions>(
        sheet, "check", "is this sheet unchanged since it was sealed, and by whom?", handover_check,
        [](CLI::App& c, HandoverCheckOptions& o) { c.add_option("FILE", o.file, "the sheet")->required(); });

    command<RehearseOptions>(
        app, "rehearse", "the whole job on a virtual set: practise without risk", rehearse_job,
        [](CLI::App& c, RehearseOptions& o) {
            c.add_option("--family", o.ask.family, "of this family")->type_name("ID")->capture_default_str();
            c.add_option("--from", o.ask.from, "the release it starts at; else the oldest example")->type_name("R");
            c.add_option("--to", o.ask.to, "the release to reach; else the newest example")->type_name("R");
            c.add_option("--speed", o.ask.speed, "virtual seconds a second (300)")->type_name("N");
            c.add_option("--cut-at", o.ask.cut_at, "cut the power so many seconds into the run")->type_name("S");
            c.add_option("--seed", o.ask.seed, "the same seed, the same run")->type_name("N")->capture_default_str();
            c.add_option("--out", o.ask.out, "folder for journal, card images and sheet")->type_name("DIR");
            c.add_option("--go-on", o.ask.go_on, "go on with one that was left in the middle; its folder")
                ->type_name("DIR");
            c.add_flag("--ascii", o.ascii, "no character beyond ASCII");
        });
}

}  // namespace fettle::app
