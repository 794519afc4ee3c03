// The commands of the diagnostic link, and the virtual set that answers on it.
#include "cli_builder.h"
#include "cmd_link.h"
#include "cmd_recording.h"
#include "cmd_stand_in.h"

namespace fettle::app {

void CommandLine::define_link() {
    const auto at = [](CLI::App& c, std::vector<std::string>& option) {
        c.add_option("--at", option, "doip://HOST:PORT, with /0x1041 for one box; BOX=ADDRESS; more than one for a set")
            ->type_name("[BOX=]ADDRESS")
            ->required();
    };
    const auto when = [](CLI::App& c, std::optional<workshop::Moment>& option) {
        named_option(c, "--when", option, workshop::moment_named, "before or after the run; else as the job stands")
            ->check(CLI::IsMember({"before", "after"}));
    };
    const auto record = [](CLI::App& c, std::string& option) {
        c.add_option("--record", option, "the whole exchange as a capture file (pcapng)")->type_name("FILE");
    };
    const auto how = [](CLI::App& c, workshop::LinkHow& o) {
        c.add_option("--tester", o.tester, "the address that this machine goes by")
            ->type_name("0xHHHH")
            ->check(CLI::Range(0x0E00, 0x0FFF))
            ->default_str("0x0E80");
        const auto seconds = [&c](const char* name, const char* words, std::function<void(std::int64_t)> set) {
            c.add_option_function<double>(
                 name, [set](double s) { set(static_cast<std::int64_t>(s * 1000)); }, words)
                ->type_name("S")
                ->check(CLI::Range(0.05, 60.0));
        };
        seconds("--connect-within", "so long a connection may take; otherwise 2",
                [&o](std::int64_t ms) { o.timing.connect_ms = o.timing.control_ms = ms; });
        seconds("--answer-within", "so long an answer may take; otherwise 1.05",
                [&o](std::int64_t ms) { o.timing.p2_ms = ms; });
    };
    CLI::App& link = group("link", "read versions and fault memory over the diagnostic link; clear what is explained");
    command<workshop::FindRequest>(
        link, "find", "ask who is there (DoIP)", link_find, [record](CLI::App& c, workshop::FindRequest& o) {
            c.add_option("--at", o.at, "where to ask")->type_name("HOST:PORT")->capture_default_str();
            c.add_option("--listen", o.listen_s, "seconds: wait there for announcements instead, and send nothing")
                ->type_name("S");
            record(c, o.record);
        });
    command<workshop::ReadRequest>(
        link, "read", "plates, serials, releases, histories and pieces", link_read,
        [at, when, record, how](CLI::App& c, workshop::ReadRequest& o) {
            at(c, o.at);
            how(c, o.how);
            c.add_option("--wait", o.how.wait_s, "so long a box that restarts is waited for")
                ->type_name("S")
                ->check(CLI::Range(0.0, 3600.0));
            c.add_option("--family", o.family, "of this family")->type_name("ID");
            c.add_option("--save", o.save, "the pieces as a list for plan --as-found")->type_name("FILE");
            when(c, o.when);
            record(c, o.record);
        });
    command<workshop::MemoryRequest>(
        link, "faults", "stored fault entries", link_faults,
        [at, when, record, how](CLI::App& c, workshop::MemoryRequest& o) {
            at(c, o.at);
            how(c, o.how);
            c.add_option("--family", o.family, "of this family")->type_name("ID");
            when(c, o.when);
            named_option(c, "--in", o.place, place_named, "where the boxes are now; else where the job is done")
                ->check(CLI::IsMember({"bench", "vehicle"}));
            c.add_flag("--details", o.details, "snapshots and extended data of each entry that has failed, too");
            record(c, o.record);
        });
    command<workshop::ClearRequest>(
        link, "clear", "ask a box to clear the entries that are explained and not failing", link_clear,
        [at, how](CLI::App& c, workshop::ClearRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("BOX", o.box, "main, display, …")->required();
            at(c, o.at);
            how(c, o.how);
            c.add_option("--allowed-by", o.allowed_by, "who allows it")->type_name("NAME")->required();
            c.add_option("--sign", o.signed_for,
                         "an entry that is not explained and may go too, if the box takes only all")
                ->type_name("CODE");
        });
    command<workshop::ReplayRequest>(
        link, "replay", "answer from a recording, on this machine", link_replay,
        [](CLI::App& c, workshop::ReplayRequest& o) {
            c.add_option("FILE", o.file, "a recording (pcapng)")->required();
            c.add_option("--listen", o.listen, "port 0: any free one")->type_name("ADDR:PORT")->capture_default_str();
            c.add_option("--stay", o.stay_s, "seconds; 0: until it is ended")->type_name("S")->capture_default_str();
        });
    command<workshop::BlankRequest>(
        link, "blank", "a copy of a recording without VIN and serial numbers", link_blank,
        [](CLI::App& c, workshop::BlankRequest& o) {
            c.add_option("FILE", o.file, "a recording (pcapng)")->required();
            c.add_option("--out", o.out, "a new file")->type_name("FILE")->required();
            c.add_option("--did", o.dids, "further identifier whose record names somebody")->type_name("0xHHHH");
        });
    command<workshop::EraseRequest>(link, "erase", "every recording of a job, gone, as its customer wants", link_erase,
                                    [](CLI::App& c, workshop::EraseRequest& o) {
                                        c.add_option("J", o.job, "the job's number")->required();
                                        c.add_option("--by", o.by, "who erases them")->type_name("NAME")->required();
                                    });
    command<StandInOptions>(
        app, "stand-in", "a virtual set on the loopback interface, to practise with", stand_in,
        [](CLI::App& c, StandInOptions& o) {
            c.add_option("--card", o.ask.card, "a card image, as laid")->type_name("IMAGE")->required();
            c.add_option("--from", o.ask.from, "the release it starts at; on the shelf")->type_name("R")->required();
            c.add_option("--family", o.ask.family, "of this family")->type_name("ID");
            c.add_option("--listen", o.ask.listen, "port 0: any free one")
                ->type_name("ADDR:PORT")
                ->capture_default_str();
            c.add_option("--can", o.ask.can,
                         "that box on a CAN bus of this machine, too: main=can://127.0.0.1:29500/0x7a1:0x7a9")
                ->type_name("ROLE=ADDRESS");
            c.add_option("--also", o.ask.also, "that box alone, on a transport of its own")->type_name("BOX=ADDR:PORT");
            c.add_option("--announce", o.ask.announce, "tell of itself there, each time that it has come up")
                ->type_name("ADDR:PORT");
            c.add_option("--stored", o.ask.stored, "an entry in its fault memory: main:B1A4F-13:28")
                ->type_name("BOX:CODE:STATUS");
            c.add_flag("--rest", o.ask.rest, "no update is started: it only answers, for as long as --stay says");
            c.add_option("--history", o.history, "releases that it came up with before, oldest first")
                ->type_name("R,R");
            c.add_option("--clears", o.clears, "what it takes: each entry by itself, only all of them, none")
                ->capture_default_str()
                ->check(CLI::IsMember({"each", "all", "no"}));
            c.add_option("--speed", o.ask.speed, "virtual seconds a second")->type_name("N")->capture_default_str();
            c.add_option("--seed", o.ask.seed, "the same seed, the same run")->type_name("N")->capture_default_str();
            c.add_option("--market", o.ask.market,
                         "the market it is set to; otherwise the first that its release is for")
                ->type_name("M");
            c.add_option("--plate", o.ask.plates, "ROLE PLATE, e.g. main 6104183C5")->type_name("ROLE PLATE");
            c.add_flag("--answer-asks", o.ask.answer_asks, "somebody stands by and answers");
            c.add_flag("--on-bench", o.ask.on_bench,
                       "partners of the vehicle are absent, and nothing wakes it but you");
            c.add_option("--stay", o.ask.stay_s, "go on answering so long after the run's end")->type_name("S");
        });
}

}  // namespace fettle::app
