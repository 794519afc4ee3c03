// What somebody says of a job: a note, what the owner agreed to, and that an earlier entry has to say something else.
#pragma once

#include <cstdint>
#include <string>

#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct NoteRequest {
    std::string job, text, by;  // by may be empty
};
struct Noted {
    std::string job, text, by;
};
Result<Noted> note_job(const Workshop& shop, const NoteRequest& request);  // usage "option-missing"

struct ConsentRequest {
    std::string job, what, by;
    bool withdraw = false;  // it no longer holds
};
struct Consented {
    std::string job, what, by;
    bool withdrawn = false;
};
// usage "option-missing"; bad_input "consent-not-there": there is none to withdraw.
Result<Consented> note_consent(const Workshop& shop, const ConsentRequest& request);

struct CorrectRequest {
    std::string job;
    std::int64_t entry = 0;
    std::string field, value;  // value as text; as JSON where the member is a number, a list or a truth
    std::string why, by;
    std::string text;  // what else is to be said; may be empty
};
struct Corrected {
    std::string job;
    std::int64_t entry = 0;
    std::string field, before, after;
};
// The correction is tried on the fold before it is appended: it must change something and leave a job that can be read.
// usage "option-missing"; bad_input "entry-unknown" for an entry or a member that is not there.
Result<Corrected> correct_entry(const Workshop& shop, const CorrectRequest& request);

}  // namespace fettle::workshop
