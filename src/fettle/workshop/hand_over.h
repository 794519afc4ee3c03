// The sealed sheet for the customer, and its check.
#pragma once

#include <optional>
#include <string>

#include "fettle/base/verdict.h"
#include "fettle/handover/seal.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// A sheet names the program that checks it, as the customer would type it. The words are part of what the seal covers:
// they stay the same for as long as sheets that carry them are to be checked.
struct HandOverRequest {
    std::string job;
    std::string folder;      // made if it is not there; usage "out-missing" when empty
    std::string check_with;  // "fettle handover check"
};
struct HandedOver {
    std::string job, level;
    std::string headline;  // of the sheet
    std::string file, sheet_sha256, public_key, fingerprint;
    bool key_made_now = false;
};
// Refused while a loose end is open that nobody signed for ("loose-ends-open"), and for a job whose chain is broken.
// The sheet is made of the journal as it is when it is sealed: when something is added meanwhile it is made again, and
// no file stays that the journal does not know.
Result<HandedOver> hand_over(const Workshop& shop, const HandOverRequest& request);

struct CheckSheetRequest {
    std::string file, check_with;
};
struct SheetChecked {
    handover::Checked checked;
    std::string known_as;  // the name under which its key is known in this home; empty: it is not
    Judgement judgement;
};
// Needs nothing but the file.
Result<SheetChecked> check_sheet(const Workshop& shop, const CheckSheetRequest& request);

}  // namespace fettle::workshop
