// What is the owner's and stays in the workshop during the job: held, and given back before the handover.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/record.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// As people type it, "slot: words #tag"; only the words are needed. usage "keep-form".
Result<Keeping> thing_typed(const std::string& text);
// The same the other way round.
std::string words_of(const Keeping& thing);
NewEntry kept_entry(const Keeping& thing);

struct KeepRequest {
    std::string job;
    std::vector<Keeping> things;  // usage "keep-form" when there is none
};
struct KeptThings {
    std::string job;
    std::vector<Keeping> things;  // with their ids
};
Result<KeptThings> keep_things(const Workshop& shop, const KeepRequest& request);

struct ReturnRequest {
    std::string job, id, by;  // id "keeping-1" or "1"
};
struct ReturnedThing {
    std::string job, id, words, by;
};
// usage "option-missing" without a name; bad_input "keeping-unknown" lists what is held.
Result<ReturnedThing> return_thing(const Workshop& shop, const ReturnRequest& request);

}  // namespace fettle::workshop
