// What is open in a job and holds up its handover: looked at, settled, or left open and signed for.
#pragma once

#include <string>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct LooseEnds {
    book::Job job;        // loose_ends: all; open_ends(): those that block
    Judgement judgement;  // one reason for each that blocks
};
Result<LooseEnds> loose_ends(const Workshop& shop, const std::string& job);

struct EndRequest {
    std::string job, id;
    std::string words;  // how it was settled; why it may stay open
    std::string by;
};
struct EndDone {
    std::string job;
    book::LooseEnd end;  // as it was
    std::string words, by;
};
// usage "loose-end-name" when words or name are missing; bad_input "loose-end-unknown", also when it is settled
// already.
Result<EndDone> settle_loose_end(const Workshop& shop, const EndRequest& request);
Result<EndDone> sign_loose_end(const Workshop& shop, const EndRequest& request);

}  // namespace fettle::workshop
