// The commands of the take-in: the bench book, and which boxes these are.
#include "cli_builder.h"
#include "cmd_identity.h"
#include "cmd_job.h"

namespace fettle::app {

void CommandLine::define_job() {
    CLI::App& job = group("job", "the bench book: take in, note, keep, show, what is still open");
    command<JobOpenOptions>(
        job, "open", "take a unit in; prints the job's number", job_open, [](CLI::App& c, JobOpenOptions& o) {
            c.add_option("--customer", o.ask.customer, "the customer's number")->type_name("N")->required();
            c.add_option("--vehicle", o.ask.vehicle, "what it is, in words")->type_name("TEXT");
            c.add_option("--vin", o.ask.vin, "the vehicle's identification number")->type_name("VIN");
            c.add_option("--complaint", o.ask.complaint, "in the customer's words")->type_name("TEXT");
            c.add_option_function<std::string>(
                 "--place", [&o](const std::string& typed) { o.ask.place = place_named(typed).value_or(Place::bench); },
                 "bench or vehicle")
                ->default_str("bench")
                ->check(CLI::IsMember({"bench", "vehicle"}));
            c.add_option("--plate", o.ask.plates, "a plate as typed; once for each box")->type_name("P");
            c.add_option("--housings", o.ask.housings, "how many housings came in")->type_name("N");
            c.add_option("--keep", o.keep, "owner's media and parts held: \"slot: what it is #tag\"")
                ->type_name("TEXT");
            c.add_option("--consent", o.ask.consents, "what the owner agreed to, e.g. one-way")->type_name("TEXT");
            c.add_option("--by", o.ask.by, "who took it in")->type_name("NAME");
        });
    command<None>(
        job, "list", "every job, oldest first", [](Context& c, const None&) { return job_list(c); },
        [](CLI::App&, None&) {});
    command<workshop::OrderRequest>(
        job, "order", "which job on which bench, and in which order", job_order,
        [](CLI::App& c, workshop::OrderRequest& o) {
            c.add_option("J", o.jobs, "these jobs; else all that wait for a run");
            c.add_option("--benches", o.benches, "so many benches")->type_name("N")->capture_default_str();
            c.add_option("--certainty", o.certainty, "that all are done by the end that is told")
                ->type_name("P")
                ->capture_default_str();
            c.add_option("--hands", o.hands_s, "a person is taken up for so long by an ask")
                ->type_name("SECONDS")
                ->capture_default_str();
        });
    command<JobShowOptions>(job, "show", "asked, found, done, left, open", job_show,
                            [](CLI::App& c, JobShowOptions& o) {
                                c.add_option("J", o.job, "the job's number")->required();
                                c.add_flag("--entries", o.entries, "the journal's entries one by one, too");
                            });
    command<JobNoteOptions>(
        job, "note", "add a note, or put a slip right", job_note, [](CLI::App& c, JobNoteOptions& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("TEXT", o.text, "the note; with --correct what else is to be said");
            c.add_option("--by", o.by, "who says so")->type_name("NAME");
            c.add_option("--correct", o.correct, "number of the entry to put right")->type_name("N");
            c.add_option("--field", o.field, "the field in it")->type_name("KEY");
            c.add_option("--value", o.value, "what it must say")->type_name("TEXT");
            c.add_option("--why", o.why, "why it is put right")->type_name("TEXT");
        });
    command<JobKeepOptions>(job, "keep", "hold something of the owner's", job_keep, [](CLI::App& c, JobKeepOptions& o) {
        c.add_option("J", o.job, "the job's number")->required();
        c.add_option("THING", o.things, "\"slot: what it is #tag\"")->required();
    });
    command<workshop::ReturnRequest>(job, "return", "give something back", job_return,
                                     [](CLI::App& c, workshop::ReturnRequest& o) {
                                         c.add_option("J", o.job, "the job's number")->required();
                                         c.add_option("ID", o.id, "keeping-1 or 1")->required();
                                         c.add_option("--by", o.by, "who gave it back")->type_name("NAME")->required();
                                     });
    command<workshop::ConsentRequest>(job, "consent", "note what the owner agreed to", job_consent,
                                      [](CLI::App& c, workshop::ConsentRequest& o) {
                                          c.add_option("J", o.job, "the job's number")->required();
                                          c.add_option("WHAT", o.what, "e.g. one-way")->required();
                                          c.add_flag("--withdraw", o.withdraw, "it no longer holds");
                                          c.add_option("--by", o.by, "who agreed")->type_name("NAME")->required();
                                      });
    command<JobLooseEndsOptions>(
        job, "loose-ends", "what is open; settle it or sign for it", job_loose_ends,
        [](CLI::App& c, JobLooseEndsOptions& o) {
            c.add_option("J", o.job, "the job's number")->required();
            c.add_option("--settle", o.settle, "ID is done with")->type_name("ID");
            c.add_option("--how", o.how, "what was done; with --settle")->type_name("TEXT");
            c.add_option("--sign", o.sign, "ID stays open and somebody answers for it")->type_name("ID");
            c.add_option("--reason", o.reason, "why it may stay as it is")->type_name("TEXT");
            c.add_option("--by", o.by, "who says so")->type_name("NAME");
        });
}

void CommandLine::define_identity() {
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

}  // namespace fettle::app
