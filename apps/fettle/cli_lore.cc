// The commands for what is known and held before any job: family files and the shelf.
#include "cli_builder.h"
#include "cmd_family.h"
#include "cmd_shelf.h"

namespace fettle::app {

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
            c.add_option("--fits", o.fits, "for the box with this plate; once for each box")->type_name("PLATE");
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

}  // namespace fettle::app
