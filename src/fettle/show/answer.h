// What an act's value becomes for whoever asked: one sentence, a page of text, a judgement, and the same as JSON. A
// terminal prints it as text or as one JSON document; another face takes what it needs.
#pragma once

#include <boost/json/object.hpp>
#include <string>

#include "fettle/base/verdict.h"
#include "fettle/show/page.h"

namespace fettle::show {

struct Answer {
    std::string headline;          // one sentence a technician would say; printed first
    Page text;                     // what follows the headline; lines end with '\n'; may be empty
    Judgement judgement;           // printed as verdict and reasons below the text; JSON "reasons"
    boost::json::object data;      // JSON "data"
    bool reasons_in_text = false;  // the text says every reason already: only the verdict is printed below
    bool verdict_matters = true;   // false: a listing; exit 0 whatever the reasons say, no verdict line
    std::size_t width = 80;        // of the page in columns; a drawing that was asked for wider needs more
    std::string document;          // a file's text, printed as it is instead of all the rest, with --json too
    std::string level;             // "L1": how much is known of the family it rests on; empty: it rests on none
    bool bad_input = false;        // the answer lists what is wrong with a file that was given: exit 3
};

}  // namespace fettle::show
