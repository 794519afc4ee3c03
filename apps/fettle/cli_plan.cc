// The commands of the plan and of the cards that it needs.
#include "cli_builder.h"
#include "cmd_card.h"
#include "cmd_plan.h"

namespace fettle::app {

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
            c.add_option("--by", o.by, "when it is to be ready: what fits, with which odds, where it can be left off")
                ->type_name("TIME");
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

}  // namespace fettle::app
