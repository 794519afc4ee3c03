#include "cli.h"

#include <algorithm>
#include <cstdlib>
#include <memory>
#include <string_view>
#include <vector>

#include "cli_builder.h"
#include "cmd_card.h"
#include "cmd_family.h"
#include "cmd_identity.h"
#include "cmd_link.h"
#include "cmd_plan.h"
#include "cmd_recording.h"
#include "cmd_shelf.h"
#include "cmd_stand_in.h"
#include "fettle/base/text.h"

namespace fettle::app {
namespace {

namespace fs = std::filesystem;

fs::path default_home() {
    if (const char* xdg = std::getenv("XDG_DATA_HOME"); xdg && *xdg) return fs::path(xdg) / "fettle";
    if (const char* home = std::getenv("HOME"); home && *home) return fs::path(home) / ".local/share/fettle";
    return ".fettle";
}

}  // namespace

void CommandLine::define_lore() {
    CLI::App& family = group("family", "family files: what is known of boxes that take the same releases");
    command<None>(
        family, "list", "the family files known here", [](Context& c, const None&) { return family_list(c); },
        [](CLI::App&, None&) {});
    command<FamilyShowOptions>(
        family, "show", "one family: boxes, script, boot order, what is open", family_show,
        [](CLI::App& c, FamilyShowOptions& o) { c.add_option("ID", o.id, "the family")->required(); });
    command<FamilyCheckOptions>(
        family, "check", "every mistake of a family file by line and key, and what it leaves open", family_check,
        [](CLI::App& c, FamilyCheckOptions& o) { c.add_option("FILE", o.file, "the family file")->required(); });
    command<FamilyDraftOptions>(
        family, "draft", "a first family file out of packages and labels of a family that nobody has described",
        family_draft, [](CLI::App& c, FamilyDraftOptions& o) {
            c.add_option("PACKAGE", o.ask.packages, "folder or archive; two of one family tell more than one")
                ->required();
            c.add_option("--plate", o.ask.plates, "a plate as it stands on the box")->type_name("PLATE");
            c.add_option("--view", o.ask.views, "a version view as the box shows it")->type_name("TEXT");
            c.add_option("--id", o.ask.id, "what the family is to be called: small letters, digits and -")
                ->type_name("ID");
            c.add_option("--to", o.ask.to, "the file to write; else standard output")->type_name("FILE");
            c.add_option("--means", o.means,
                         "what a part of a label means: main.part2=issue, or \"main.part2=don't know\"")
                ->type_name("PART=WORD");
            c.add_flag("--add", o.ask.add, "take it into use here too; never in the place of one that is known");
        });
    command<workshop::LearnRequest>(
        family, "learn", "what a watched run teaches a family file, to accept line by line", family_learn,
        [](CLI::App& c, workshop::LearnRequest& o) {
            c.add_option("FILE", o.file, "the family file; never the one in use")->required();
            c.add_option("--run", o.run, "which run of the job; else the last that came to its end")->type_name("N");
            c.add_option("--accept", o.accept, "lines to take in: N, N-M or all")->type_name("LINE");
            c.add_option("--allowed-by", o.allowed_by, "who answers for what weakens the file")->type_name("NAME");
        });
    command<workshop::SignFamilyRequest>(
        family, "sign", "put the shop's signature under a family file that is to travel", family_sign,
        [](CLI::App& c, workshop::SignFamilyRequest& o) {
            c.add_option("FILE", o.file, "the family file")->required();
            c.add_option("--by", o.by, "who answers for it")->type_name("NAME")->required();
        });
    command<workshop::ImportFamilyRequest>(
        family, "import", "a family file from elsewhere: who signed it, what differs; what tightens is taken",
        family_import, [](CLI::App& c, workshop::ImportFamilyRequest& o) {
            c.add_option("FILE", o.file, "the family file")->required();
            c.add_option("--accept", o.accept, "of what loosens: N or all")->type_name("N");
            c.add_option("--accept-loosening-by", o.accept_loosening_by, "who accepts that it allows more")
                ->type_name("NAME");
        });
    command<workshop::AddFamilyRequest>(family, "add", "take a checked family file into use", family_add,
                                        [](CLI::App& c, workshop::AddFamilyRequest& o) {
                                            c.add_option("FILE", o.file, "the family file")->required();
                                            c.add_option("--accept-loosening-by", o.accept_loosening_by,
                                                         "who accepts that the new file allows more")
                                                ->type_name("NAME");
                                        });

    command<workshop::IdentifyRequest>(
        app, "identify", "plates and version views: which boxes are these?", identify,
        [](CLI::App& c, workshop::IdentifyRequest& o) {
            c.add_option("PLATE", o.plates, "plates as typed");
            c.add_option("--view", o.views, "a version view as typed")->type_name("TEXT");
            c.add_option("--family", o.family, "try this family only")->type_name("ID");
            c.add_option("--sure", o.sure,
                         "character N was looked at again and is as typed (plate2.4 for the second plate)")
                ->type_name("N");
            c.add_flag("--photo", o.photo, "the texts were read off a photo");
            c.add_option("--housings", o.housings, "labelled housings handed over")->type_name("N");
        });
    command<VinOptions>(app, "vin", "character rule and check digit of a vehicle identification number", vin,
                        [](CLI::App& c, VinOptions& o) {
                            c.add_option("VIN", o.vin, "as typed")->required();
                            c.add_flag("--us-market", o.rule_applies, "made for a market where 49 CFR 565 applies");
                        });
}

void CommandLine::define_shelf() {
    CLI::App& shelf = group("shelf", "the library of releases");
    command<workshop::ShelveRequest>(
        shelf, "add", "vet a package and shelve it with its provenance slip", shelf_add,
        [](CLI::App& c, workshop::ShelveRequest& o) {
            c.add_option("PATH", o.package, "folder or archive; with --index-only the index file")->required();
            c.add_option("--family", o.family, "the family it is for")->type_name("ID");
            c.add_option("--from", o.from, "where it came from, in words")->type_name("TEXT")->required();
            c.add_option("--right", o.right, "maker-portal, customer-owned, licence, own-work or unknown")
                ->type_name("RIGHT")
                ->required();
            c.add_option("--also-seen", o.also_seen, "digest of the package as seen at a second source")
                ->type_name("SHA256");
            c.add_flag("--index-only", o.index_only, "an old release whose files are gone: for as-found lists only");
        });
    command<workshop::ShelfListRequest>(
        shelf, "list", "what is on the shelf, oldest first", shelf_list,
        [](CLI::App& c, workshop::ShelfListRequest& o) {
            c.add_option("--family", o.family, "of this family")->type_name("ID");
            c.add_option("--fits", o.fits, "for the boxes with these plates")->type_name("PLATE");
            c.add_flag("--refused", o.refused, "what was refused, and why");
        });
    command<ShelfShowOptions>(shelf, "show", "one release: slip, signature, pieces", shelf_show,
                              [](CLI::App& c, ShelfShowOptions& o) {
                                  c.add_option("R", o.ask.release, "the release")->required();
                                  c.add_option("--family", o.ask.family, "of this family")->type_name("ID");
                                  c.add_flag("--cyclonedx", o.cyclonedx, "as a CycloneDX 1.5 inventory");
                              });
    define_shelf_care(shelf);
}

void CommandLine::define_shelf_care(CLI::App& shelf) {
    const auto family = [](CLI::App& c, std::string& to) {
        c.add_option("--family", to, "of this family")->type_name("ID");
    };
    command<ShelfCompareOptions>(shelf, "compare", "what differs between two releases", shelf_compare,
                                 [family](CLI::App& c, ShelfCompareOptions& o) {
                                     c.add_option("A", o.ask.before, "the one release")->required();
                                     c.add_option("B", o.ask.after, "the other")->required();
                                     family(c, o.ask.family);
                                     c.add_flag("--all", o.all, "name what is equal too");
                                 });
    command<workshop::ReleaseRequest>(shelf, "verify", "read every stored byte and say exactly what is damaged",
                                      shelf_verify, [family](CLI::App& c, workshop::ReleaseRequest& o) {
                                          c.add_option("R", o.release, "this release only");
                                          family(c, o.family);
                                      });
    command<workshop::RestoreRequest>(
        shelf, "restore", "give a package back, bit for bit", shelf_restore,
        [family](CLI::App& c, workshop::RestoreRequest& o) {
            c.add_option("R", o.release, "the release on the shelf; with a / in it, a folder")->required();
            c.add_option("DIR", o.folder, "a new folder")->required();
            family(c, o.family);
        });
    command<workshop::ReleaseRequest>(
        shelf, "remove", "take a release off the shelf", shelf_remove,
        [family](CLI::App& c, workshop::ReleaseRequest& o) {
            c.add_option("R", o.release, "the release on the shelf; with a / in it, a folder")->required();
            family(c, o.family);
        });
    command<None>(
        shelf, "tidy", "give back the space that no release needs",
        [](Context& c, const None&) { return shelf_tidy(c); }, [](CLI::App&, None&) {});
}

void CommandLine::define_plan_and_card() {
    command<PlanOptions>(
        app, "plan", "route, what changes, how long, what a power cut would do", fettle::app::plan,
        [](CLI::App& c, PlanOptions& o) {
            c.add_option("--plate", o.ask.unit.plates, "a plate as typed; once for each box")->type_name("P");
            c.add_option("--view", o.ask.unit.views, "the version view as typed")->type_name("TEXT");
            c.add_option("--family", o.ask.unit.family, "of this family")->type_name("ID");
            c.add_option("--as-found", o.as_found, "what is installed: lines of box, name, version")->type_name("FILE");
            c.add_option("--to", o.ask.to, "release to reach, or newest")->type_name("R")->capture_default_str();
            c.add_option_function<std::string>(
                 "--consent",
                 [&o](const std::string& what) {
                     if (what != "one-way") throw CLI::ValidationError("--consent", "knows only one-way, not " + what);
                     o.ask.consent_one_way = true;
                 },
                 "one-way: the owner agreed that there is no return")
                ->type_name("one-way");
            c.add_option("--complaint", o.ask.complaint, "what the customer complains of: is it worth doing?")
                ->type_name("TEXT");
            c.add_option("--cuts", o.ask.cuts, "power cuts in one run that the map looks at")
                ->capture_default_str()
                ->type_name("K")
                ->check(CLI::Range(1, 3));
            c.add_option("--fed", o.fed,
                         "boxes of a set on one supply (together), or each on its own (apart); else as the family file "
                         "says")
                ->type_name("HOW")
                ->check(CLI::IsMember({"together", "apart"}));
            c.add_option("--picture", o.picture, "write the way and each step's time axis as an SVG")
                ->type_name("FILE");
            c.add_flag("--ascii", o.style.ascii, "pictures without characters beyond ASCII");
            c.add_option("--offered", o.offered,
                         "what the box lists before the start, held against what is expected; - to type it")
                ->type_name("FILE");
            c.add_option("--cut-rate", o.style.cuts_per_hour, "power cuts an hour, for the odds")
                ->type_name("R")
                ->check(CLI::Range(0.0, 60.0))
                ->capture_default_str();
            c.add_flag("--full", o.style.full, "every piece of every change sheet");
            c.add_option("--sure", o.ask.unit.sure, "character N of a plate was looked at again")->type_name("N");
        });

    CLI::App& card = group("card", "lay a release on a card, audit any card, gauge what it really holds");
    command<CardLayOptions>(
        card, "lay", "lay a release on a card or into an image, bit-exact, and read it back", card_lay,
        [](CLI::App& c, CardLayOptions& o) {
            c.add_option("R", o.ask.what.release, "the release on the shelf; with a / in it, a folder")->required();
            c.add_option("--out", o.ask.out, "the image to write, or the card's device")
                ->type_name("IMAGE|DEVICE")
                ->required();
            c.add_option("--size", o.size, "of the image: 512M, 8G, bytes")->type_name("SIZE");
            c.add_option("--card", o.ask.what.card, "of a release over several cards: which one")
                ->type_name("N")
                ->check(CLI::Range(1, 9));
            c.add_option("--yes-erase", o.ask.consent.serial, "the device's serial: all on it may go")
                ->type_name("SERIAL");
            c.add_option("--family", o.ask.what.family, "of this family")->type_name("ID");
        });
    command<workshop::AuditRequest>(
        card, "audit", "is this card good? read-only, everything in one pass", card_audit,
        [](CLI::App& c, workshop::AuditRequest& o) {
            c.add_option("CARD", o.card, "image or device")->type_name("IMAGE|DEVICE")->required();
            c.add_option("--release", o.release, "what should be on it; with a / in it, a folder")->type_name("R");
            c.add_option("--card", o.number, "of a release over several cards: which one it should be")
                ->type_name("N")
                ->check(CLI::Range(1, 9));
            c.add_option("--family", o.family, "of this family")->type_name("ID");
        });
    command<CardDevicesOptions>(card, "devices", "which devices here may be a card, and why others are not",
                                card_devices, [](CLI::App& c, CardDevicesOptions& o) {
                                    c.add_option("--family", o.family, "by what its boxes take")->type_name("ID");
                                    c.add_flag("--all", o.all, "also those that may not");
                                });
    command<workshop::GaugeRequest>(
        card, "gauge", "is the capacity real? writes marks over the card and reads them back", card_gauge,
        [](CLI::App& c, workshop::GaugeRequest& o) {
            c.add_option("DEVICE", o.device, "the card's device")->required();
            c.add_option("--family", o.family, "by what its boxes take")->type_name("ID");
            c.add_option("--yes-erase", o.consent.serial, "the device's serial: all on it may go")->type_name("SERIAL");
            c.add_flag("--again", o.again, "the card was pulled and put back: read the marks once more");
        });
}

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
        [at, when, record](CLI::App& c, workshop::ReadRequest& o) {
            at(c, o.at);
            c.add_option("--family", o.family, "of this family")->type_name("ID");
            c.add_option("--save", o.save, "the pieces as a list for plan --as-found")->type_name("FILE");
            when(c, o.when);
            record(c, o.record);
        });
    command<workshop::MemoryRequest>(
        link, "faults", "stored fault entries", link_faults,
        [at, when, record](CLI::App& c, workshop::MemoryRequest& o) {
            at(c, o.at);
            c.add_option("--family", o.family, "of this family")->type_name("ID");
            when(c, o.when);
            named_option(c, "--in", o.place, place_named, "where the boxes are now; else where the job is done")
                ->check(CLI::IsMember({"bench", "vehicle"}));
            c.add_flag("--details", o.details, "snapshots and extended data of each entry that has failed, too");
            record(c, o.record);
        });
    command<workshop::ClearRequest>(
        link, "clear", "ask a box to clear the entries that are explained and not failing", link_clear,
        [at](CLI::App& c, workshop::ClearRequest& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("BOX", o.box, "main, display, …")->required();
            at(c, o.at);
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

void CommandLine::define() {
    app.name("fettle");
    app.require_subcommand(1);
    app.fallthrough();  // global options may stand behind the command as well
    app.set_version_flag("--version", std::string("fettle ") + FETTLE_VERSION);
    app.add_option("--home", home_, "folder of book, shelf, family files and keys")->type_name("DIR");
    app.add_option("--job", call.context.job, "what the command saw and decided is appended to this job")
        ->type_name("J");
    app.add_flag("--json", call.context.json, "one JSON document on standard output");
    app.add_flag("--timings", call.timings, "time and memory used, on standard error");
    app.parse_complete_callback([this] { call.context.home = home_.empty() ? default_home() : fs::path(home_); });

    define_job();
    define_lore();
    define_shelf();
    define_plan_and_card();
    define_link();
    define_ready();
    define_run();
}

namespace {

// The deepest command named on the line, for messages and the help to point to.
std::string command_named(const CLI::App& app) {
    for (const CLI::App* sub : app.get_subcommands()) {
        const std::string deeper = command_named(*sub);
        return deeper.empty() ? sub->get_name() : sub->get_name() + " " + deeper;
    }
    return {};
}

// Texts that are kept and shown: names of files may be any bytes, these may not.
std::string text_that_is_none(const CLI::App& app) {
    for (const CLI::Option* option : app.get_options()) {
        const std::string kind = option->get_type_name();
        const bool text =
            option->get_positional() ? option->get_single_name() == "TEXT" : kind == "TEXT" || kind == "NAME";
        if (!text) continue;
        for (const std::string& said : option->results())
            if (!is_utf8(said)) return (option->get_positional() ? "" : "--") + option->get_single_name();
    }
    for (const CLI::App* sub : app.get_subcommands())
        if (std::string place = text_that_is_none(*sub); !place.empty()) return place;
    return {};
}

}  // namespace

Parsed parse_command_line(int argc, const char* const* argv) {
    // "--name=" gives an empty value; CLI11 would take the word behind it.
    std::vector<std::string> kept;
    kept.reserve(static_cast<std::size_t>(argc));
    std::vector<const char*> words;
    bool options_end = false;
    for (int i = 0; i < argc; ++i) {
        const std::string_view word = argv[i];
        options_end = options_end || word == "--";
        if (options_end || word.size() < 4 || word.substr(0, 2) != "--" || word.find('=') != word.size() - 1) {
            words.push_back(argv[i]);
            continue;
        }
        kept.emplace_back(word.substr(0, word.size() - 1));
        words.push_back(kept.back().c_str());
        words.push_back("");
    }

    CommandLine line;
    try {
        line.app.parse(static_cast<int>(words.size()), words.data());
    } catch (const CLI::Success& done) {  // help, version
        return line.app.exit(done);
    } catch (const CLI::ParseError& e) {
        const std::string command = command_named(line.app);
        const bool json = std::any_of(argv, argv + argc, [](const char* a) { return std::string_view(a) == "--json"; });
        Error error{ErrorKind::usage, "command-line-wrong", "", e.what(),
                    "see: fettle " + (command.empty() ? std::string() : command + " ") + "--help"};
        return Refused{std::move(error), command, json};
    }
    if (std::string place = text_that_is_none(line.app); !place.empty()) {
        const std::string command = command_named(line.app);
        return Refused{{ErrorKind::bad_input, "text-not-utf8", std::move(place), "the text is not UTF-8",
                        "type it anew, or set the terminal to UTF-8"},
                       command,
                       line.call.context.json};
    }
    return std::move(line.call);
}

}  // namespace fettle::app
