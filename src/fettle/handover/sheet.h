// The handover sheet: one self-contained, printable HTML page for the customer, made of the folded job alone. Pure:
// text in, text out; the seal is seal.h. Every value of the job is escaped; there is no script, no link to fetch and no
// font to load in it.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/book/job.h"

namespace fettle::handover {

struct SheetInput {
    book::Job job;
    UnixMs made = 0;
    std::string workshop;               // as it should stand at the top; may be empty
    std::vector<std::string> strips;    // SVG elements, one a run, from watch::strip_svg; may be empty
    std::vector<std::string> cautions;  // those that apply to the customer now
    std::string level;                  // "L1, package index understood"; empty: no family was known
    bool boot_order_known = true;       // false: every write counted as having no way back, and the sheet says so
    std::string journal_digest;         // digest of the journal's last entry
    std::int64_t journal_entries = 0;
};

// bad_input "loose-ends-open" names every loose end that is neither settled nor signed for; nothing is made.
Status may_hand_over(const book::Job& job);

// The page, without its seal. The same refusal as may_hand_over.
Result<std::string> sheet_html(const SheetInput& input);

// The sentence on top: "Updated from 26.1.090 to 27.3.118; everything landed; 1 thing is left to do."
std::string headline(const book::Job& job);

}  // namespace fettle::handover
