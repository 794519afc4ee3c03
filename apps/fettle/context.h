// What every command gets and what it gives back. The command line stays thin: cli.cc parses into a plain options
// struct, a cmd_*.cc calls rooms and fills an Answer, main.cc prints it (as text or as one JSON document), appends its
// entries to the job named with --job, and turns verdict or error into the exit code of docs/commands.md.
#pragma once

#include <boost/json/object.hpp>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/family/family.h"

namespace fettle::app {

struct Context {
    std::filesystem::path
        home;         // book, shelf, family files, keys; may not exist yet: make what you need, when you need it
    std::string job;  // --job J, or empty
    bool json = false;
    bool terminal = false;  // standard error is a terminal and --json was not given: progress may be drawn
    const Clock* clock = nullptr;

    std::filesystem::path families_folder() const { return home / "families"; }
    std::filesystem::path shelf_folder() const { return home / "shelf"; }
    std::filesystem::path book_file() const { return home / "book.sqlite"; }
    std::filesystem::path keys_folder() const { return home / "keys"; }

    // Progress of long work: one line on a terminal, redrawn a few times a second; nothing otherwise. done and total in
    // bytes (total 0: not known). Call as often as you like.
    std::function<void(const char* what, std::uint64_t done, std::uint64_t total)> progress;

    // What a long command tells people on standard output before it ends; nothing with --json. May be empty.
    std::function<void(const std::string& text)> say;
};

// One fact or decision for the job's journal: type as in docs/journal.md, data as one JSON object.
struct NewEntry {
    std::string type;
    boost::json::object data;
};

struct Answer {
    std::string headline;           // one sentence a technician would say; printed first
    std::string text;               // what follows the headline for people; lines end with '\n'; may be empty
    Judgement judgement;            // printed as verdict and reasons below the text; also JSON "reasons"
    boost::json::object data;       // JSON "data"
    std::vector<NewEntry> entries;  // appended to `job`, or to the job named with --job; dropped when there is neither
    std::string job;                // for commands that name their job as an argument
    bool reasons_in_text = false;   // the text says every reason already: only the verdict is printed below it
    bool verdict_matters = true;    // false: a listing; exit 0 whatever the reasons say, no verdict line
    std::size_t width = 80;         // of the page in columns; a drawing that was asked for wider needs more
    std::string document;           // a file's text, printed as it is instead of all the rest, with --json too
    std::string level;              // "L1": how much is known of the family it rests on; empty: it rests on none
    bool bad_input = false;         // the answer lists what is wrong with a file that was given: exit 3
};

// The family files known here: HOME/families/*.toml first, then the examples installed with the program (or, in a build
// tree, the source tree's families/). Each is loaded and checked; an unusable file is an error that names it.
Result<std::vector<family::Family>> load_families(const Context& context);
// One of them; bad_input lists the known ids when there is none of that name.
Result<family::Family> load_family_by_id(const Context& context, const std::string& id);
// Where the installed examples stand; empty when none are found.
std::filesystem::path example_families_folder();

}  // namespace fettle::app
